//! The life chart: odometer below; additive, soot and ash above it; visits as hairlines, work as marks, today as a
//! heavy line, what may come to its right. One function for screen, report and paper, wide and narrow.

use crate::args;
use crate::inputs::Inputs;
use crate::svg::{Drawing, Hatch, Scale, nice_end};
use crate::words::{digits, number, say, say_with};
use facts::case::{Case, RegenerationEnd, Row};
use infer::assessment::Assessment;
use infer::balance::{AdditivePrior, Window, balance};
use infer::due::{Says, What};
use maud::{Markup, PreEscaped, html};

/// Odometer of a visit and three quantiles of additive left (L, where told), soot and ash load (g/L).
type Shown = (f64, Option<[f64; 3]>, [f64; 3], [f64; 3]);

/// What the chart shows, apart from how it is drawn.
pub struct Chart {
    /// The visits, earliest first.
    visits: Vec<Shown>,
    /// Regenerations: odometer, finished.
    burns: Vec<(f64, bool)>,
    /// Work: odometer and one letter (F filter, S sensor, C cleaning).
    work: Vec<(f64, &'static str)>,
    today: f64,
    due: Vec<(What, Window)>,
    capacity_l: f64,
    limits: Limits,
}

/// Lines that what is drawn should not cross.
struct Limits {
    /// Additive that the controller keeps back, L.
    reserve_l: Option<f64>,
    /// Soot load that the substrate is thought to stand at least, g/L.
    soot: f64,
    /// Ash load at which filters are cleaned, g/L.
    ash: f64,
}

impl Chart {
    /// From the answer and the case of every visit, the earliest first; none without an odometer.
    pub fn new(a: &Assessment, cases: &[&Case]) -> Option<Self> {
        let case = *cases.last()?;
        let today = case.car.odometer_km?;
        let of = |e: infer::assessment::Estimate| [e.p05, e.p50, e.p95];
        let left = |case: &Case, last: bool| {
            let b =
                if last { a.additive.clone() } else { Some(balance(case, &AdditivePrior::default(), None)) };
            let b = b.filter(|b| a.additive.is_some() && b.left_l.told)?;
            Some([b.left_l.p05, b.left_l.p50, b.left_l.p95])
        };
        let visits = match &a.life {
            Some(life) => life
                .visits
                .iter()
                .zip(cases)
                .enumerate()
                .filter_map(|(i, (v, case))| {
                    let last = i + 1 == cases.len();
                    let (soot, ash) = (of(v.filter.soot_load_g_per_l), of(v.filter.ash_load_g_per_l));
                    Some((v.odometer_km?, left(case, last), soot, ash))
                })
                .collect(),
            None => {
                let (soot, ash) = (of(a.filter.soot_load_g_per_l), of(a.filter.ash_load_g_per_l));
                vec![(today, left(case, true), soot, ash)]
            }
        };
        let at = |km: Option<f64>| km.unwrap_or(today);
        let burns = case
            .regeneration
            .iter()
            .map(|r| (at(r.odometer_km), r.controller_says == Some(RegenerationEnd::Complete)))
            .collect();
        let mut work: Vec<(f64, &'static str)> = Vec::new();
        work.extend(case.filter_replaced.iter().map(|r| (at(r.stamp().odometer_km), "F")));
        work.extend(case.filter_cleaned.iter().map(|r| (at(r.stamp().odometer_km), "C")));
        work.extend(case.sensor_replaced.iter().map(|r| (at(r.stamp().odometer_km), "S")));
        // What is too wide to plan by is not drawn.
        let due = a.due.iter().filter(|d| d.says != Says::Nothing).map(|d| (d.what, d.km)).collect();
        let capacity_l = a.additive.as_ref().map_or(1.0, |b| b.capacity_l);
        let limits = Limits {
            reserve_l: a.additive.as_ref().map(|b| b.reserve_l),
            soot: a.regeneration.limit.0,
            ash: a.ash.limit_g_per_l.0,
        };
        Some(Self { visits, burns, work, today, due, capacity_l, limits })
    }

    fn due(&self, what: What) -> Option<Window> {
        self.due.iter().find(|d| d.0 == what).map(|d| d.1).filter(|w| w.p90 < infer::due::HORIZON_KM)
    }

    /// The drawing at the width at which it will be seen.
    pub fn draw(&self, width: f64, class: &str) -> String {
        let wide = width > 500.0;
        let first = self.visits.first().map_or(self.today, |v| v.0);
        // Today at about two thirds; a phone starts 40 000 km before it.
        let back = (self.today - first).max(4000.0) * 1.04;
        let back = if wide { back } else { back.min(40_000.0) };
        let from = (self.today - back).max(0.0);
        let to = self.today + 0.5 * back;
        let label = say_with(
            "fig-life-label",
            &args! { "count" => self.visits.len(), "from" => number(first, 0), "to" => number(self.today, 0) },
        );
        let (left, right) = (46.0, width - 10.0);
        let x = Scale::new((from, to), (left, right));
        let with_additive = self.visits.iter().any(|v| v.1.is_some());
        let tall = if wide { 130.0 } else { 105.0 };
        let mut panels = Vec::new();
        let mut top = 76.0;
        if with_additive {
            panels.push((What::Additive, top, tall, 1.1 * self.capacity_l));
            top += tall + 46.0;
        }
        let end = |k: fn(&Shown) -> f64, least: f64| {
            nice_end(self.visits.iter().map(k).fold(least, f64::max).min(6.0 * least))
        };
        panels.push((What::Soot, top, 0.8 * tall, end(|v| v.2[2], 10.0)));
        top += 0.8 * tall + 46.0;
        panels.push((What::Ash, top, 0.6 * tall, end(|v| v.3[2], 50.0)));
        let bottom = top + 0.6 * tall;
        let mut d = Drawing::new(&format!("life-{class}"), class, (width, bottom + 52.0), &label);
        let ticks = x.ticks(if wide { 7 } else { 3 });
        d.axis_below(&x, bottom, &ticks, &say("fig-life-odometer"));
        for v in self.visits.iter().filter(|v| v.0 >= from) {
            d.line("hair", (x.at(v.0), 27.0), (x.at(v.0), bottom));
        }
        let mut last_letter = f64::NEG_INFINITY;
        for (km, letter) in self.work.iter().filter(|w| w.0 >= from) {
            let place = x.at(*km).max(last_letter + 14.0);
            last_letter = place;
            d.text("m s b halo", (place, 48.0), letter);
            d.line("dash", (x.at(*km), 52.0), (x.at(*km), bottom));
        }
        for (what, top, height, most) in panels {
            self.panel(&mut d, &x, what, (top, height, most), (from, to, left, right));
        }
        d.line("thick", (x.at(self.today), 27.0), (x.at(self.today), bottom));
        // Balloons number the visits; today's is filled. Where two would touch, the earlier one goes without.
        let mut last_balloon = f64::INFINITY;
        for (n, v) in self.visits.iter().enumerate().rev().filter(|(_, v)| v.0 >= from) {
            let today = n + 1 == self.visits.len();
            let place = x.at(v.0);
            if last_balloon - place < 26.0 {
                continue;
            }
            last_balloon = place;
            d.circle(if today { "dot" } else { "hole" }, (place, 15.0), 12.0);
            d.text(if today { "m s b onink" } else { "m s b" }, (place, 20.0), &(n + 1).to_string());
        }
        d.text("s halo", (x.at(self.today) + 17.0, 20.0), &say("fig-life-today"));
        d.finish()
    }

    fn panel(
        &self,
        d: &mut Drawing,
        x: &Scale,
        what: What,
        (top, height, most): (f64, f64, f64),
        (from, to, left, right): (f64, f64, f64, f64),
    ) {
        let y = Scale::new((0.0, most), (top + height, top));
        d.axis_left(&y, left, right, &y.ticks(3));
        let (hatch, id) = match what {
            What::Additive => (Hatch::Liquid, "fig-life-additive"),
            What::Soot => (Hatch::Soot, "fig-life-soot"),
            What::Ash => (Hatch::Ink, "fig-life-ash"),
        };
        d.text("it s", (left, top - 8.0), &say(id));
        let limit = match what {
            What::Additive => self.limits.reserve_l.map(|l| (l, "fig-life-reserve", 1)),
            What::Soot => Some((self.limits.soot, "fig-life-soot-limit", 0)),
            What::Ash => Some((self.limits.ash, "fig-life-ash-limit", 0)),
        };
        if let Some((at, id, decimals)) = limit.filter(|l| l.0 > 0.0 && l.0 <= most) {
            d.line("dashdot", (left, y.at(at)), (right, y.at(at)));
            let words = say_with(id, &args! { "value" => number(at, decimals) });
            d.text("it s halo", (left + 4.0, y.at(at) - 5.0), &words);
        }
        let points: Vec<(f64, [f64; 3])> = self
            .visits
            .iter()
            .filter(|v| v.0 >= from)
            .filter_map(|v| {
                Some((
                    x.at(v.0),
                    match what {
                        What::Additive => v.1?,
                        What::Soot => v.2,
                        What::Ash => v.3,
                    },
                ))
            })
            .collect();
        if what == What::Ash {
            // Ash only grows between cleanings, so the band between two visits is known.
            let upper = points.iter().map(|p| (p.0, y.at(p.1[2])));
            let lower = points.iter().rev().map(|p| (p.0, y.at(p.1[0])));
            d.hatched(hatch, &upper.chain(lower).collect::<Vec<_>>());
            d.polyline("pen", &points.iter().map(|p| (p.0, y.at(p.1[1]))).collect::<Vec<_>>());
        }
        for (px, [low, best, high]) in &points {
            d.hatched_box(hatch, (px - 6.0, y.at(*low)), (px + 6.0, y.at(*high)));
            d.rectangle("box", (px - 6.0, y.at(*low)), (px + 6.0, y.at(*high)));
            d.line("thick", (px - 6.0, y.at(*best)), (px + 6.0, y.at(*best)));
        }
        if what == What::Soot {
            // Burns stand under the soot: long finished, short broken off or not known to have finished.
            for (km, finished) in self.burns.iter().filter(|b| b.0 >= from) {
                let length = if *finished { 12.0 } else { 6.0 };
                d.line("tall", (x.at(*km), y.at(0.0)), (x.at(*km), y.at(0.0) + length));
            }
        }
        let (Some(w), Some((px, [low, best, high]))) = (self.due(what), points.last().copied()) else {
            return;
        };
        // What may come is open: broken edges from today's interval to the window.
        let goal = match what {
            What::Additive => 0.0,
            What::Soot => 8.5_f64.min(most),
            What::Ash => most.min(50.0),
        };
        let at = |km: f64| x.at(self.today + km);
        let (early, late) = if what == What::Additive { (low, high) } else { (high, low) };
        // What reaches further than the sheet is cut off at its edge, on its way.
        let room = (to - self.today).max(1.0);
        let mut way = |class: &str, start: f64, km: f64| {
            let share = (room / km.max(1.0)).min(1.0);
            d.polyline(class, &[(px, y.at(start)), (at(km.min(room)), y.at(start + share * (goal - start)))]);
        };
        way("dash", early, w.p10);
        way("openline", best, w.p50);
        way("dash", late, w.p90);
        if w.p90 <= room {
            d.dimension("hair", (at(w.p10), at(w.p90)), y.at(goal));
        }
        let words = format!("{} – {} km", digits(rounded(w.p10), 0), digits(rounded(w.p90), 0));
        d.text("e s halo", (right, top - 8.0), &words);
    }
}

/// To the two first figures: no window is known better.
fn rounded(km: f64) -> f64 {
    if km < 1.0 {
        return 0.0;
    }
    let step = 10f64.powf(km.log10().floor() - 1.0);
    (km / step).round() * step
}

/// The chart with its caption.
pub fn figure(a: &Assessment, cases: &[&Case]) -> Option<Markup> {
    let chart = Chart::new(a, cases)?;
    Some(html! {
        figure.fig {
            (PreEscaped(chart.draw(super::figures::FULL, "wide")))
            (PreEscaped(chart.draw(super::figures::NARROW, "narrow")))
            figcaption { (say("fig-life-caption")) }
        }
    })
}

/// The section of the report.
pub fn section(a: &Assessment, inputs: &Inputs) -> Markup {
    let cases: Vec<&Case> = inputs.earlier.iter().map(|v| &v.0).chain([&inputs.case]).collect();
    let Some(figure) = figure(a, &cases).filter(|_| a.life.is_some()) else { return html! {} };
    html! {
        section.sec #life {
            h2 { (say("head-life")) }
            ul.list { @for line in crate::text::life(a) { li { span { (line) } } } }
            (figure)
        }
    }
}
