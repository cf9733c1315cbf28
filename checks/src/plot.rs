//! Plots of the validation reports as SVG: black on white, told apart by shape and dash, never by colour.

use std::fmt::Write as _;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 400.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 52.0;

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dash {
    /// Unbroken.
    Solid,
    /// Long dashes.
    Long,
    /// Dots.
    Dots,
    /// Dash and dot.
    DashDot,
}

impl Dash {
    fn attribute(self) -> &'static str {
        match self {
            Self::Solid => "",
            Self::Long => " stroke-dasharray=\"8 4\"",
            Self::Dots => " stroke-dasharray=\"2 3\"",
            Self::DashDot => " stroke-dasharray=\"9 3 2 3\"",
        }
    }
}

/// Shape of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marker {
    /// Open circle.
    Circle,
    /// Filled circle.
    Disc,
    /// Open square.
    Square,
    /// Open triangle.
    Triangle,
    /// Cross.
    Cross,
}

impl Marker {
    fn draw(self, x: f64, y: f64) -> String {
        match self {
            Self::Circle => format!("<circle cx='{x:.1}' cy='{y:.1}' r='3.6' fill='white' stroke='black'/>"),
            Self::Disc => format!("<circle cx='{x:.1}' cy='{y:.1}' r='3.2'/>"),
            Self::Square => format!(
                "<rect x='{:.1}' y='{:.1}' width='6.4' height='6.4' fill='white' stroke='black'/>",
                x - 3.2,
                y - 3.2
            ),
            Self::Triangle => {
                format!("<path d='M{x:.1} {:.1}l4 7h-8z' fill='white' stroke='black'/>", y - 4.5)
            }
            Self::Cross => {
                format!("<path d='M{:.1} {:.1}l7 7m0 -7l-7 7' stroke='black' fill='none'/>", x - 3.5, y - 3.5)
            }
        }
    }
}

/// A plot in the making.
#[derive(Debug, Clone)]
pub struct Plot {
    title: String,
    x_label: String,
    y_label: String,
    x: (f64, f64),
    y: (f64, f64),
    below: String,
    body: String,
    legend: Vec<(String, String)>,
}

impl Plot {
    /// An empty plot over the ranges `x` and `y` (low, high).
    #[must_use]
    pub fn new(title: &str, x_label: &str, y_label: &str, x: (f64, f64), y: (f64, f64)) -> Self {
        Self {
            title: title.to_owned(),
            x_label: x_label.to_owned(),
            y_label: y_label.to_owned(),
            x,
            y,
            below: String::new(),
            body: String::new(),
            legend: Vec::new(),
        }
    }

    fn px(&self, x: f64) -> f64 {
        LEFT + (x - self.x.0) / (self.x.1 - self.x.0) * (WIDTH - LEFT - RIGHT)
    }

    fn py(&self, y: f64) -> f64 {
        let y = y.clamp(self.y.0, self.y.1);
        HEIGHT - BOTTOM - (y - self.y.0) / (self.y.1 - self.y.0) * (HEIGHT - TOP - BOTTOM)
    }

    fn path(&self, points: &[(f64, f64)]) -> String {
        let mut d = String::new();
        for (i, (x, y)) in points.iter().enumerate() {
            // Writing into a String does not fail.
            let _ = write!(d, "{}{:.1} {:.1}", if i == 0 { 'M' } else { 'L' }, self.px(*x), self.py(*y));
        }
        d
    }

    /// A line through points; an empty label leaves it out of the key.
    pub fn line(&mut self, points: &[(f64, f64)], dash: Dash, label: &str) {
        let style = format!("fill='none' stroke='black' stroke-width='1.4'{}", dash.attribute());
        let path = self.path(points);
        let _ = writeln!(self.body, "<path d='{path}' {style}/>");
        if !label.is_empty() {
            self.legend.push((format!("<path d='M0 0h26' {style}/>"), label.to_owned()));
        }
    }

    /// Points.
    pub fn points(&mut self, points: &[(f64, f64)], marker: Marker, label: &str) {
        for (x, y) in points {
            let mark = marker.draw(self.px(*x), self.py(*y));
            let _ = writeln!(self.body, "{mark}");
        }
        if !label.is_empty() {
            self.legend.push((marker.draw(13.0, 0.0), label.to_owned()));
        }
    }

    /// A grey band between a lower and an upper line (x, low, high), under everything else.
    pub fn band(&mut self, points: &[(f64, f64, f64)], label: &str) {
        let mut outline: Vec<(f64, f64)> = points.iter().map(|p| (p.0, p.2)).collect();
        outline.extend(points.iter().rev().map(|p| (p.0, p.1)));
        let path = self.path(&outline);
        let _ = writeln!(self.below, "<path d='{path}z' fill='#ddd' stroke='none'/>");
        if !label.is_empty() {
            self.legend.push((
                "<rect x='0' y='-5' width='26' height='10' fill='#ddd'/>".to_owned(),
                label.to_owned(),
            ));
        }
    }

    /// Bars of equal width over the whole x range.
    pub fn bars(&mut self, heights: &[f64]) {
        let step = (self.x.1 - self.x.0) / heights.len().max(1) as f64;
        for (i, h) in heights.iter().enumerate() {
            let x = self.px(self.x.0 + i as f64 * step);
            let width = self.px(self.x.0 + (i as f64 + 1.0) * step) - x;
            let (y, foot) = (self.py(*h), self.py(self.y.0.max(0.0)));
            let _ = writeln!(
                self.body,
                "<rect x='{x:.1}' y='{y:.1}' width='{width:.1}' height='{:.1}' fill='none' stroke='black'/>",
                foot - y
            );
        }
    }

    /// The finished picture.
    #[must_use]
    pub fn finish(&self) -> String {
        let mut out = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} {HEIGHT}' width='{WIDTH}' height='{HEIGHT}' role='img' font-family='sans-serif' font-size='12'>\n<title>{}</title>\n<rect width='{WIDTH}' height='{HEIGHT}' fill='white'/>\n",
            escape(&self.title)
        );
        let (x0, x1, y0, y1) = (LEFT, WIDTH - RIGHT, HEIGHT - BOTTOM, TOP);
        out.push_str(&self.below);
        for t in ticks(self.x) {
            let x = self.px(t);
            let _ = writeln!(
                out,
                "<path d='M{x:.1} {y0}v5' stroke='black'/><text x='{x:.1}' y='{:.1}' text-anchor='middle'>{}</text>",
                y0 + 18.0,
                short(t)
            );
        }
        for t in ticks(self.y) {
            let y = self.py(t);
            let _ = writeln!(
                out,
                "<path d='M{x0} {y:.1}h{:.1}' stroke='#bbb' stroke-width='0.5'/><path d='M{x0} {y:.1}h-5' stroke='black'/><text x='{:.1}' y='{:.1}' text-anchor='end'>{}</text>",
                x1 - x0,
                x0 - 8.0,
                y + 4.0,
                short(t)
            );
        }
        out.push_str(&self.body);
        let _ = writeln!(out, "<path d='M{x0} {y1}V{y0}H{x1}' fill='none' stroke='black'/>");
        let _ = writeln!(
            out,
            "<text x='{x0}' y='22' font-size='14'>{}</text><text x='{:.1}' y='{:.1}' text-anchor='middle'>{}</text><text transform='translate(16 {:.1}) rotate(-90)' text-anchor='middle'>{}</text>",
            escape(&self.title),
            (x0 + x1) / 2.0,
            HEIGHT - 12.0,
            escape(&self.x_label),
            (y0 + y1) / 2.0,
            escape(&self.y_label)
        );
        for (i, (mark, label)) in self.legend.iter().enumerate() {
            let y = y1 + 12.0 + 17.0 * i as f64;
            let _ = writeln!(
                out,
                "<g transform='translate({:.1} {y:.1})'><rect x='-4' y='-9' width='{:.0}' height='17' fill='white' fill-opacity='0.8'/>{mark}<text x='34' y='4'>{}</text></g>",
                x0 + 14.0,
                44.0 + 6.6 * label.chars().count() as f64,
                escape(label)
            );
        }
        out.push_str("</svg>\n");
        out
    }
}

/// Round numbers within a range, about six of them.
fn ticks(range: (f64, f64)) -> Vec<f64> {
    let raw = (range.1 - range.0) / 6.0;
    if !(raw.is_finite() && raw > 0.0) {
        return Vec::new();
    }
    let decade = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * decade).find(|s| *s >= raw).unwrap_or(raw);
    let first = (range.0 / step - 1e-9).ceil() as i64;
    let last = (range.1 / step + 1e-9).floor() as i64;
    (first..=last).map(|k| k as f64 * step).collect()
}

fn short(v: f64) -> String {
    let text = format!("{v:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.replace('-', "\u{2212}") }
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('\'', "&#39;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_ticks_are_round_and_inside() {
        assert_eq!(ticks((0.0, 12.0)), [0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0]);
        assert_eq!(ticks((1.0, 1.0)), Vec::<f64>::new());
    }

    #[test]
    fn property_a_plot_is_well_formed_and_tells_what_it_shows() {
        let mut p = Plot::new("a < b", "x (g/L)", "y (kPa)", (0.0, 10.0), (0.0, 5.0));
        p.line(&[(0.0, 1.0), (10.0, 4.0)], Dash::Long, "model");
        p.points(&[(5.0, 2.0)], Marker::Cross, "measured");
        let svg = p.finish();
        assert!(svg.contains("a &lt; b") && svg.contains("measured") && svg.ends_with("</svg>\n"));
        assert_eq!(svg.matches("<g ").count(), svg.matches("</g>").count());
    }
}
