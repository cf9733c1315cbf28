//! Drawings as SVG text: scales, ticks, lines, bands, hatching. Knows nothing of filters.
//!
//! A drawing is made for the width at which it will be seen; text is never scaled. Colours and pens are classes of
//! the page's style sheet.

use std::fmt::Write as _;

/// A linear scale from a quantity to a length in the drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    from: f64,
    to: f64,
    at_from: f64,
    at_to: f64,
}

impl Scale {
    /// A scale that puts `from` at `at_from` and `to` at `at_to`. An empty or endless range becomes one wide.
    pub fn new((from, to): (f64, f64), (at_from, at_to): (f64, f64)) -> Self {
        let usable = from.is_finite() && to.is_finite() && to > from;
        let (from, to) = if usable { (from, to) } else { (0.0, 1.0) };
        Self { from, to, at_from, at_to }
    }

    /// Place of a value; values outside are kept at the nearer end.
    pub fn at(&self, value: f64) -> f64 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        let share = if share.is_nan() { 0.0 } else { share };
        self.at_from + share * (self.at_to - self.at_from)
    }

    /// Round values on the scale, at most about `most`.
    pub fn ticks(&self, most: usize) -> Vec<f64> {
        let step = nice_step((self.to - self.from) / most.max(1) as f64);
        let first = (self.from / step - 1e-9).ceil();
        (0..200).map(|i| (first + f64::from(i)) * step).take_while(|t| *t <= self.to + 1e-9 * step).collect()
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is not below `step`.
pub fn nice_step(step: f64) -> f64 {
    if !(step.is_finite() && step > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(step.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * power).find(|s| *s >= step * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

/// The next round value above, for the end of a scale.
pub fn nice_end(value: f64) -> f64 {
    let step = nice_step(value / 5.0);
    (value / step - 1e-9).ceil().max(1.0) * step
}

/// Decimals that show the steps of ticks.
pub fn tick_decimals(ticks: &[f64]) -> usize {
    let step = ticks.windows(2).filter_map(|w| w.last().zip(w.first()).map(|(b, a)| b - a)).reduce(f64::min);
    step.map_or(0, |s| (-s.log10().floor()).clamp(0.0, 6.0) as usize)
}

/// Text safe inside markup.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// Ways to fill an area that hold in black and white.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hatch {
    /// Steep broad lines: soot, the filter at hand.
    Soot,
    /// Flat fine lines in ink: as new, left out.
    Ink,
    /// Broken horizontal lines: liquid.
    Liquid,
    /// Steep lines the other way, in wax red: what does not add up.
    Wax,
}

impl Hatch {
    fn name(self) -> &'static str {
        match self {
            Self::Soot => "s",
            Self::Ink => "k",
            Self::Liquid => "a",
            Self::Wax => "w",
        }
    }

    fn definition(self) -> &'static str {
        match self {
            Self::Soot => {
                r#" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(35)"><path class="hsoot" d="M0 0v6"/></pattern>"#
            }
            Self::Ink => {
                r#" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(-65)"><path class="hink" d="M0 0v5"/></pattern>"#
            }
            Self::Liquid => {
                r#" width="14" height="7" patternUnits="userSpaceOnUse"><path class="hadd" d="M1 2h8M8 5.5h5"/></pattern>"#
            }
            Self::Wax => {
                r#" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><path class="hwax" d="M0 0v6"/></pattern>"#
            }
        }
    }
}

/// A drawing under construction.
pub struct Drawing {
    name: String,
    class: String,
    width: f64,
    height: f64,
    label: String,
    body: String,
    hatches: Vec<Hatch>,
}

impl Drawing {
    /// An empty drawing. `name` is unique on its page, `label` is the sentence that says what is drawn.
    pub fn new(name: &str, class: &str, (width, height): (f64, f64), label: &str) -> Self {
        Self {
            name: name.to_owned(),
            class: class.to_owned(),
            width,
            height,
            label: label.to_owned(),
            body: String::new(),
            hatches: Vec::new(),
        }
    }

    /// A path of class `class`.
    pub fn path(&mut self, class: &str, d: &str) {
        if !d.is_empty() {
            // Writing into a string cannot fail.
            let _ = write!(self.body, r#"<path class="{class}" d="{d}"/>"#);
        }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        self.path(class, &format!("M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}"));
    }

    /// A line through points; fewer than two draw nothing.
    pub fn polyline(&mut self, class: &str, points: &[(f64, f64)]) {
        if points.len() > 1 {
            self.path(class, &through(points));
        }
    }

    /// A closed area.
    pub fn area(&mut self, class: &str, points: &[(f64, f64)]) {
        if points.len() > 2 {
            self.path(class, &(through(points) + "Z"));
        }
    }

    /// A closed area filled with a hatching.
    pub fn hatched(&mut self, hatch: Hatch, points: &[(f64, f64)]) {
        if points.len() > 2 {
            let fill = self.fill(hatch);
            let _ = write!(self.body, r#"<path fill="{fill}" d="{}Z"/>"#, through(points));
        }
    }

    /// A rectangle from corner to corner filled with a hatching.
    pub fn hatched_box(&mut self, hatch: Hatch, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        self.hatched(hatch, &[(x1, y1), (x2, y1), (x2, y2), (x1, y2)]);
    }

    /// A rectangle from corner to corner.
    pub fn rectangle(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        self.area(class, &[(x1, y1), (x2, y1), (x2, y2), (x1, y2)]);
    }

    /// A ring or disc.
    pub fn circle(&mut self, class: &str, (x, y): (f64, f64), radius: f64) {
        let _ = write!(self.body, r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="{radius:.1}"/>"#);
    }

    /// A diamond.
    pub fn diamond(&mut self, class: &str, (x, y): (f64, f64), radius: f64) {
        self.area(class, &[(x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y)]);
    }

    /// A text. Classes: `m` centred, `e` set flush right, `it` italic, `b` bold, `halo` with a ground.
    pub fn text(&mut self, class: &str, (x, y): (f64, f64), text: &str) {
        let _ = write!(self.body, r#"<text class="{class}" x="{x:.1}" y="{y:.1}">{}</text>"#, escape(text));
    }

    /// A dimension line from `x1` to `x2`: extension lines and slim arrowheads, outside when there is no room.
    pub fn dimension(&mut self, class: &str, (x1, x2): (f64, f64), y: f64) {
        let (x1, x2) = if x1 <= x2 { (x1, x2) } else { (x2, x1) };
        let inside = x2 - x1 > 22.0;
        self.line(class, (x1, y), (x2, y));
        for (x, way) in [(x1, 1.0), (x2, -1.0)] {
            self.line("hair", (x, y - 7.0), (x, y + 7.0));
            let way = if inside { way } else { -way };
            let (tip, back) = (x, x + way * 9.0);
            self.area("dot", &[(tip, y), (back, y - 2.3), (back, y + 2.3)]);
        }
    }

    /// Ticks and numbers along the foot of a plot, with the name of the quantity at its right end.
    pub fn axis_below(&mut self, scale: &Scale, y: f64, ticks: &[f64], name: &str) {
        self.line("ax", (scale.at_from, y), (scale.at_to, y));
        let decimals = tick_decimals(ticks);
        for t in ticks {
            let x = scale.at(*t);
            self.line("ax", (x, y), (x, y + 6.0));
            self.text("s m", (x, y + 22.0), &crate::words::digits(*t, decimals));
        }
        self.text("it s e", (scale.at_to, y + 42.0), name);
    }

    /// Numbers and hairlines along the left of a plot that ends at `right`.
    pub fn axis_left(&mut self, scale: &Scale, x: f64, right: f64, ticks: &[f64]) {
        let decimals = tick_decimals(ticks);
        for t in ticks {
            let y = scale.at(*t);
            self.line("ax2", (x, y), (right, y));
            self.text("s e", (x - 8.0, y + 5.0), &crate::words::digits(*t, decimals));
        }
    }

    fn fill(&mut self, hatch: Hatch) -> String {
        if !self.hatches.contains(&hatch) {
            self.hatches.push(hatch);
        }
        format!("url(#{}-{})", self.name, hatch.name())
    }

    /// The drawing as SVG, to stand in a page.
    pub fn finish(self) -> String {
        let Self { name, class, width, height, label, body, hatches } = self;
        let defs: String = hatches
            .iter()
            .map(|h| format!(r#"<pattern id="{name}-{}"{}"#, h.name(), h.definition()))
            .collect();
        let defs = if defs.is_empty() { defs } else { format!("<defs>{defs}</defs>") };
        format!(
            r#"<svg class="{class}" viewBox="0 0 {width:.0} {height:.0}" width="{width:.0}" height="{height:.0}" role="img" aria-label="{}">{defs}{body}</svg>"#,
            escape(&label)
        )
    }
}

fn through(points: &[(f64, f64)]) -> String {
    let mut d = String::with_capacity(points.len() * 12);
    for (i, (x, y)) in points.iter().enumerate() {
        let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
    }
    d
}

/// A series thinned to the columns of a drawing: of each column the first, smallest, largest and last value stay, in
/// their order, so that no spike is lost. Breaks where the time between samples is longer than `gap_s`.
pub fn thinned(time_s: &[f64], value: &[f64], x: &Scale, y: &Scale, gap_s: f64) -> Vec<Vec<(f64, f64)>> {
    let mut runs: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut column: Vec<(f64, f64)> = Vec::new();
    let mut number = i64::MIN;
    let mut last_time = f64::NEG_INFINITY;
    let flush = |column: &mut Vec<(f64, f64)>, runs: &mut Vec<Vec<(f64, f64)>>| {
        let by = |a: &(f64, f64), b: &(f64, f64)| a.1.total_cmp(&b.1);
        let keep = [
            column.first().copied(),
            column.iter().copied().min_by(by),
            column.iter().copied().max_by(by),
            column.last().copied(),
        ];
        let mut keep: Vec<(f64, f64)> = keep.into_iter().flatten().collect();
        keep.sort_by(|a, b| a.0.total_cmp(&b.0));
        keep.dedup();
        if let Some(run) = runs.last_mut() {
            run.extend(keep.into_iter().map(|(t, v)| (x.at(t), y.at(v))));
        }
        column.clear();
    };
    for (&t, &v) in time_s.iter().zip(value).filter(|(t, v)| t.is_finite() && v.is_finite()) {
        let at = x.at(t).floor() as i64;
        let broken = t - last_time > gap_s;
        if at != number || broken {
            flush(&mut column, &mut runs);
            number = at;
        }
        if broken || runs.is_empty() {
            runs.push(Vec::new());
        }
        column.push((t, v));
        last_time = t;
    }
    flush(&mut column, &mut runs);
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_scale_and_ticks() {
        let s = Scale::new((0.0, 200.0), (10.0, 410.0));
        assert_eq!(s.at(50.0), 110.0);
        assert_eq!(s.at(-1.0), 10.0);
        assert_eq!(s.at(f64::NAN), 10.0);
        assert_eq!(s.ticks(5), vec![0.0, 50.0, 100.0, 150.0, 200.0]);
        assert_eq!(Scale::new((f64::NAN, 1.0), (0.0, 1.0)).at(0.5), 0.5);
        assert!(Scale::new((-1e300, 1e300), (0.0, 1.0)).ticks(5).len() < 20);
        assert_eq!(Scale::new((0.0, f64::INFINITY), (0.0, 1.0)).ticks(2).len(), 3);
        assert_eq!(nice_end(7.2), 8.0);
        assert_eq!(tick_decimals(&[0.0, 0.2, 0.4]), 1);
    }

    #[test]
    fn property_thinning_keeps_every_extreme_and_breaks_at_gaps() {
        let time: Vec<f64> =
            (0..10_000).map(|i| f64::from(i) * 0.1 + if i > 5000 { 100.0 } else { 0.0 }).collect();
        let mut value: Vec<f64> = (0..10_000).map(|i| (f64::from(i) * 0.01).sin()).collect();
        value[4321] = 7.5;
        let (x, y) = (Scale::new((0.0, 1100.0), (0.0, 300.0)), Scale::new((-8.0, 8.0), (0.0, 160.0)));
        let runs = thinned(&time, &value, &x, &y, 5.0);
        assert_eq!(runs.len(), 2);
        let points: usize = runs.iter().map(Vec::len).sum();
        assert!(points < 4 * 302, "{points}");
        assert!(runs.iter().flatten().any(|p| (p.1 - y.at(7.5)).abs() < 1e-9));
    }

    #[test]
    fn regress_text_cannot_break_out() {
        let mut d = Drawing::new("x", "fit", (10.0, 10.0), "a\"><script>");
        d.text("s", (0.0, 0.0), "</text><script>alert('x')</script>&");
        let out = d.finish();
        assert!(!out.contains("<script"), "{out}");
    }
}
