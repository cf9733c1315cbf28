//! The drawings of the report. Each is made twice, for a wide and a narrow sheet, by the same function.

use crate::args;
use crate::inputs::Inputs;
use crate::svg::{Drawing, Hatch, Scale, nice_end, thinned};
use crate::text::waterfall as parts;
use crate::words::{decimals_for, digits, number, say, say_with};
use infer::assessment::{Assessment, BandPoint, Estimate, Window};
use infer::balance::Balance;
use maud::{Markup, PreEscaped, html};
use recording::{Quantity, Recording, Signal};

const WIDE: f64 = 640.0;
pub(super) const NARROW: f64 = 358.0;
/// Drawings across the whole sheet.
pub(super) const FULL: f64 = 1100.0;

fn both(draw: impl Fn(f64, &str) -> String, wide: f64) -> Markup {
    html! { (PreEscaped(draw(wide, "wide"))) (PreEscaped(draw(NARROW, "narrow"))) }
}

/// Pressure against flow: what was read, what this filter shows, what it would show as new.
pub fn pressure(a: &Assessment) -> Markup {
    let plot = &a.plot;
    if plot.points.is_empty() && plot.fitted.is_empty() {
        return html! { p.sub { (say("fig-pressure-none")) } };
    }
    let degc = number(plot.band_temperature_degc, 0);
    html! {
        figure.fig {
            (both(|width, class| pressure_drawing(a, width, class), WIDE))
            figcaption { (say_with("fig-pressure-caption", &args! { "degc" => degc })) }
        }
    }
}

fn pressure_drawing(a: &Assessment, width: f64, class: &str) -> String {
    let plot = &a.plot;
    let label = say_with(
        "fig-pressure-label",
        &args! { "count" => plot.points.len(), "degc" => number(plot.band_temperature_degc, 0) },
    );
    let height = if width > 500.0 { 400.0 } else { 340.0 };
    let mut d = Drawing::new(&format!("pf-{class}"), class, (width, height), &label);
    let measured = plot.points.iter().map(|p| p.flow_g_per_s).fold(0.0, f64::max);
    let flow_end = plot.fitted.iter().map(|b| b.flow_g_per_s).fold(measured, f64::max);
    let highest = plot
        .points
        .iter()
        .map(|p| p.shown_kpa + 2.0 * p.sigma_kpa)
        .chain(plot.fitted.iter().map(|b| b.p95))
        .chain(plot.as_new.iter().map(|b| b.p95))
        .filter(|v| v.is_finite())
        .fold(0.1, f64::max);
    // One point far out or a band that opens without end must not press the rest flat.
    let readings = plot.points.iter().map(|p| p.shown_kpa + 2.0 * p.sigma_kpa).fold(0.1, f64::max);
    let top = highest.min(4.0 * readings.max(0.5));
    let lowest = plot
        .points
        .iter()
        .map(|p| p.shown_kpa - 2.0 * p.sigma_kpa)
        .chain(plot.fitted.iter().map(|b| b.p05))
        .filter(|v| v.is_finite())
        .fold(0.0, f64::min)
        .max(-top);
    let x = Scale::new((0.0, flow_end.max(1.0)), (46.0, width - 10.0));
    let y = Scale::new((lowest, nice_end(top)), (height - 52.0, 28.0));
    let (ticks_x, ticks_y) = (x.ticks(if width > 500.0 { 6 } else { 4 }), y.ticks(6));
    d.axis_left(&y, 46.0, width - 10.0, &ticks_y);
    d.axis_below(&x, height - 52.0, &ticks_x, &say("fig-axis-flow"));
    d.text("it s", (46.0, 14.0), &say("fig-axis-pressure"));

    let at = |b: &BandPoint, v: f64| (x.at(b.flow_g_per_s), y.at(v));
    let outline = |band: &[BandPoint]| {
        let upper = band.iter().map(|b| at(b, b.p95));
        let lower = band.iter().rev().map(|b| at(b, b.p05));
        upper.chain(lower).collect::<Vec<_>>()
    };
    let edge =
        |band: &[BandPoint], of: fn(&BandPoint) -> f64| band.iter().map(|b| at(b, of(b))).collect::<Vec<_>>();
    d.hatched(Hatch::Ink, &outline(&plot.as_new));
    d.polyline("hair", &edge(&plot.as_new, |b| b.p95));
    d.polyline("hair", &edge(&plot.as_new, |b| b.p05));

    // Hatched where flow was measured; beyond it, and where nothing was told, open with broken edges.
    let told = a.filter.standard_pressure_drop_kpa.told;
    let split = if told {
        (plot.fitted.partition_point(|b| b.flow_g_per_s < measured) + 1).min(plot.fitted.len())
    } else {
        0
    };
    let known = plot.fitted.get(..split).unwrap_or_default();
    let open = plot.fitted.get(split.saturating_sub(1)..).unwrap_or_default();
    d.area("tint", &outline(&plot.fitted));
    d.hatched(Hatch::Soot, &outline(known));
    d.polyline("edge90", &edge(known, |b| b.p95));
    d.polyline("edge90", &edge(known, |b| b.p05));
    d.polyline("pen2", &edge(known, |b| b.p50));
    d.polyline("openline", &edge(open, |b| b.p95));
    d.polyline("openline", &edge(open, |b| b.p05));
    if told {
        d.polyline("openline", &edge(open, |b| b.p50));
    }

    for p in &plot.points {
        let (px, py) = (x.at(p.flow_g_per_s), y.at(p.shown_kpa));
        d.line(
            "pen",
            (px, y.at(p.shown_kpa - 2.0 * p.sigma_kpa)),
            (px, y.at(p.shown_kpa + 2.0 * p.sigma_kpa)),
        );
        let pen = if p.before { "dot" } else { "hole" };
        match p.recording {
            Some(_) => d.circle(pen, (px, py), 4.5),
            None => d.diamond(pen, (px, py), 7.0),
        }
    }
    let near_end = |band: &[BandPoint], share: f64| {
        let i = ((band.len().saturating_sub(1)) as f64 * share) as usize;
        band.get(i).copied()
    };
    if let Some(b) = near_end(&plot.fitted, 0.8) {
        let (px, py) = at(&b, b.p95);
        d.text("b s e halo", (px, (py - 10.0).max(44.0)), &say("fig-fitted"));
    }
    if let Some(b) = near_end(&plot.as_new, 0.96) {
        let (px, py) = at(&b, b.p05);
        d.text("it s e halo", (px, (py + 20.0).min(height - 60.0)), &say("fig-as-new"));
    }
    d.finish()
}

/// One bar of probability with a rule of tenths below.
pub fn probability(p: f64, label: &str) -> Markup {
    let width = 330.0;
    let x = Scale::new((0.0, 1.0), (1.0, width - 1.0));
    let label = format!("{label}: {} / 100", digits(100.0 * p, 0));
    let mut d = Drawing::new("p", "bar", (width, 18.0), &label);
    d.rectangle("dot", (x.at(0.0), 1.0), (x.at(p), 9.0));
    d.line("ax", (x.at(0.0), 12.0), (x.at(1.0), 12.0));
    for i in 0..=10 {
        let at = x.at(f64::from(i) / 10.0);
        d.line("ax", (at, 12.0), (at, if i % 5 == 0 { 18.0 } else { 15.0 }));
    }
    PreEscaped(d.finish())
}

/// A 90 % interval as a dimension line on its own scale from zero.
pub fn interval(name: &str, e: Estimate) -> Markup {
    if ![e.p05, e.p50, e.p95].iter().all(|v| v.is_finite()) {
        return html! {};
    }
    let width = 330.0;
    let (low, high) = (e.p05.min(0.0), nice_end(e.p95.max(0.02)));
    let x = Scale::new((if low < 0.0 { -nice_end(-low) } else { 0.0 }, high), (8.0, width - 34.0));
    let mut d = Drawing::new("i", "bar", (width, 34.0), &say(name));
    let ticks = x.ticks(4);
    let decimals = crate::svg::tick_decimals(&ticks);
    d.line("ax", (x.at(f64::NEG_INFINITY), 18.0), (x.at(f64::INFINITY), 18.0));
    for t in &ticks {
        d.line("ax", (x.at(*t), 18.0), (x.at(*t), 22.0));
    }
    for t in ticks.first().into_iter().chain(ticks.last()) {
        d.text("it s m", (x.at(*t), 34.0), &digits(*t, decimals));
    }
    let ends = (x.at(e.p05), x.at(e.p95));
    if e.told {
        d.dimension("pen", ends, 9.0);
        d.line("tall", (x.at(e.p50), 1.0), (x.at(e.p50), 17.0));
    } else {
        d.dimension("dash", ends, 9.0);
    }
    PreEscaped(d.finish())
}

/// One strip for each recording.
pub fn recordings(a: &Assessment, inputs: &Inputs) -> Markup {
    let rows = inputs.case.recording.iter().zip(&inputs.recordings).enumerate();
    html! {
        @for (i, (row, recording)) in rows {
            @if let Some(recording) = recording.as_ref().filter(|r| r.duration_s > 0.0 && !strips(r).is_empty()) {
                @let windows: Vec<&Window> = a.windows.iter().filter(|w| w.recording == i).collect();
                section.sec id=(if i == 0 { "recordings".to_owned() } else { format!("recording-{i}") }) {
                    h2.path { (say_with("fig-recording", &args! { "file" => row.file.clone() })) }
                    figure.fig {
                        (both(|width, class| strip_drawing(recording, &windows, &row.file, i, width, class), FULL))
                        figcaption { (say("fig-recording-caption")) }
                    }
                }
            }
        }
    }
}

/// The signals drawn: pressure, flow (speed where there is none), temperature.
fn strips(r: &Recording) -> Vec<(&'static str, &Signal)> {
    let first = |list: &[Quantity]| list.iter().find_map(|q| r.signal(*q));
    let mut out = Vec::new();
    if let Some(s) = first(&[Quantity::FilterDifferentialPressure]) {
        out.push(("fig-strip-pressure", s));
    }
    if let Some(s) = first(&[Quantity::ExhaustMassFlow, Quantity::IntakeAirMassFlow]) {
        out.push(("fig-strip-flow", s));
    } else if let Some(s) = first(&[Quantity::EngineSpeed]) {
        out.push(("fig-strip-speed", s));
    }
    if let Some(s) = first(&[
        Quantity::FilterInletTemperature,
        Quantity::ExhaustTemperature,
        Quantity::FilterOutletTemperature,
    ]) {
        out.push(("fig-strip-temperature", s));
    }
    out
}

fn strip_drawing(
    r: &Recording,
    windows: &[&Window],
    file: &str,
    i: usize,
    width: f64,
    class: &str,
) -> String {
    let strips = strips(r);
    let label = say_with(
        "fig-recording-label",
        &args! { "file" => file.to_owned(), "minutes" => number(r.duration_s / 60.0, 0) },
    );
    let (each, head) = (if width > 500.0 { 118.0 } else { 96.0 }, 26.0);
    let foot = head + each * strips.len() as f64;
    let mut d = Drawing::new(&format!("r{i}-{class}"), class, (width, foot + 44.0), &label);
    let (left, right) = (52.0, width - 8.0);
    let x = Scale::new((0.0, r.duration_s), (left, right));
    for w in windows {
        let (from, to) = (x.at(w.start_s), x.at(w.end_s));
        match w.state {
            "used" => d.line("thick", (from, 8.0), (to.max(from + 1.0), 8.0)),
            "regeneration" => d.hatched_box(Hatch::Soot, (from, head), (to, foot)),
            _ => d.hatched_box(Hatch::Ink, (from, foot - 10.0), (to, foot)),
        }
    }
    for (n, (name, s)) in strips.iter().enumerate() {
        let (top, bottom) = (head + each * n as f64 + 26.0, head + each * (n as f64 + 1.0) - 8.0);
        let low = s.value.iter().copied().filter(|v| v.is_finite()).fold(0.0, f64::min);
        let high = s.value.iter().copied().filter(|v| v.is_finite()).fold(low, f64::max);
        let y = Scale::new(
            (if low < 0.0 { -nice_end(-low) } else { 0.0 }, nice_end(high.max(0.1))),
            (bottom, top),
        );
        d.axis_left(&y, left, right, &y.ticks(2));
        let gap = 5.0_f64.max(6.0 * r.duration_s / s.time_s.len().max(1) as f64);
        for run in thinned(&s.time_s, &s.value, &x, &y, gap) {
            d.polyline("trace", &run);
        }
        d.text("it s halo", (left + 4.0, top - 9.0), &say(name));
    }
    // States left out are named once each, where they are widest.
    let mut named: Vec<&str> = Vec::new();
    let mut by_length: Vec<&&Window> = windows.iter().filter(|w| w.state != "used").collect();
    by_length.sort_by(|a, b| (b.end_s - b.start_s).total_cmp(&(a.end_s - a.start_s)));
    for w in by_length {
        let (from, to) = (x.at(w.start_s), x.at(w.end_s));
        if to - from > 60.0 && !named.contains(&w.state) {
            named.push(w.state);
            let lift = if w.state == "regeneration" { head + 14.0 } else { foot - 14.0 };
            d.text("it s m halo", (0.5 * (from + to), lift), &say(&format!("fig-state-{}", w.state)));
        }
    }
    let minutes = Scale::new((0.0, r.duration_s / 60.0), (left, right));
    d.axis_below(&minutes, foot, &minutes.ticks(if width > 500.0 { 10 } else { 5 }), "");
    d.text("it s e", (right, foot + 40.0), &say("fig-strip-time"));
    d.finish()
}

/// Where the additive went, each row hanging from the end of the row above.
pub fn waterfall(b: &Balance) -> Markup {
    let w = &b.waterfall;
    let litres = |x: infer::balance::Interval| {
        let d = decimals_for(x.p95 - x.p05, 2);
        format!("{} L", digits(x.p50, d))
    };
    let sentence = say_with(
        "fig-waterfall-sentence",
        &args! {
            "poured" => litres(w.poured),
            "dosed" => litres(w.dosed_by_physics),
            "left" => litres(w.left),
            "unexplained" => litres(w.unexplained),
        },
    );
    html! {
        figure.fig {
            (both(|width, class| waterfall_drawing(b, &sentence, width, class), 900.0))
            figcaption { (say("fig-waterfall-caption")) }
        }
    }
}

fn waterfall_drawing(b: &Balance, sentence: &str, width: f64, class: &str) -> String {
    let w = &b.waterfall;
    let label = say_with("fig-waterfall", &args! { "sentence" => sentence.to_owned() });
    let wide = width > 500.0;
    let (row, left, right) = if wide { (46.0, 250.0, width - 150.0) } else { (66.0, 6.0, width - 12.0) };
    let mut d = Drawing::new(&format!("w-{class}"), class, (width, 5.0 * row + 64.0), &label);
    let finite = |v: f64| if v.is_finite() { v } else { 0.0 };
    let poured = finite(w.poured.p50);
    let dosed_end = poured - finite(w.dosed_by_physics.p50);
    let left_end = dosed_end - finite(w.left.p50);
    let low = left_end.min(poured - finite(w.dosed_by_controller.p50)).min(dosed_end).min(0.0);
    let high = nice_end([finite(w.poured.p95), left_end, dosed_end, 0.1].into_iter().fold(0.0, f64::max));
    let x = Scale::new((if low < -1e-9 { -nice_end(-low) } else { 0.0 }, high), (left, right));
    let foot = 5.0 * row + 16.0;
    for t in x.ticks(5) {
        d.line("ax2", (x.at(t), 0.0), (x.at(t), foot));
    }
    let spans = [
        (0.0, poured),
        (poured, poured - finite(w.dosed_by_controller.p50)),
        (poured, dosed_end),
        (dosed_end, left_end),
        (left_end, 0.0),
    ];
    for (n, ((name, interval), (from, to))) in parts(b).into_iter().zip(spans).enumerate() {
        let top = row * n as f64 + if wide { 8.0 } else { 28.0 };
        let (x1, x2) = (x.at(from.min(to)), x.at(from.max(to)));
        let corners = ((x1, top), (x2, top + 22.0));
        match n {
            0 | 3 => {
                d.hatched_box(Hatch::Liquid, corners.0, corners.1);
                d.rectangle("boxa", corners.0, corners.1);
            }
            1 => d.rectangle("boxo", corners.0, corners.1),
            2 => {
                d.hatched_box(Hatch::Ink, corners.0, corners.1);
                d.rectangle("box", corners.0, corners.1);
            }
            _ => {
                d.hatched_box(Hatch::Wax, corners.0, corners.1);
                d.rectangle("boxw", corners.0, corners.1);
            }
        }
        if n == 4 {
            // What is unexplained carries its dimension: from where it hangs, as far as it may reach.
            let (a, b) = (x.at(left_end - interval.p05), x.at(left_end - interval.p95));
            d.dimension("pen", (a, b), top + 34.0);
        }
        // The next row hangs from here.
        if n != 1 && n < 4 {
            let (end, drop) = (x.at(to), if n == 0 { 2.0 } else { 1.0 });
            d.line("dash", (end, top + 22.0), (end, top + row * drop));
        }
        let decimals = decimals_for(interval.p95 - interval.p05, 2);
        let range = format!("{} – {}", digits(interval.p05, decimals), digits(interval.p95, decimals));
        let best = format!("{} L", digits(interval.p50, decimals));
        if wide {
            d.text("s", (0.0, top + 17.0), &say(name));
            d.text("b s", (right + 14.0, top + 9.0), &best);
            d.text("it s", (right + 14.0, top + 26.0), &range);
        } else {
            d.text("s halo", (6.0, top - 7.0), &say(name));
            d.text("s e halo", (width - 6.0, top - 7.0), &format!("{best} ({range})"));
        }
    }
    let ticks = x.ticks(5);
    d.axis_below(&x, foot, &ticks, "L");
    d.finish()
}
