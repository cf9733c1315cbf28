//! The sheet of `sootwright regeneration`: verdict first, then the soot against what the filter stands, the
//! conditions, and a simulated burn.

use super::marks::Mark;
use super::{emphasised, problems, shell, title_block};
use crate::args;
use crate::inputs::Inputs;
use crate::regeneration::{Told, condition_rows, course};
use crate::svg::{Drawing, Hatch, Scale, nice_end};
use crate::text::of_100;
use crate::words::{digits, number, say, say_with};
use infer::safety::{Regeneration, State};
use infer::scenario::{Course, Event, Scenario};
use maud::{Markup, PreEscaped, html};

const WIDE: f64 = 640.0;
const NARROW: f64 = 358.0;

/// The whole page.
pub fn page(told: &Told, inputs: &Inputs, made_at: &str) -> String {
    let title = inputs.case.title.clone().unwrap_or_else(|| say("page-untitled"));
    let parts = [
        ("soot", "fig-soot-limit", true),
        ("conditions", "head-conditions", true),
        ("find-out", "regeneration-find-out", !told.find_out.is_empty()),
        ("burn", "head-simulated", told.scenario.is_some()),
        ("cautions", "head-cautions", true),
    ];
    let margin = html! {
        nav.margin {
            span.plate { (title) }
            @if let Some(km) = inputs.case.car.odometer_km { p.who { span.nb { (digits(km, 0)) " km" } } }
            ol.thread {
                @for (id, words, there) in parts {
                    @if there { li { a href=(format!("#{id}")) { (say(words)) } } }
                }
            }
        }
    };
    let heading = say_with("page-regeneration-title", &args! { "title" => title });
    shell(&heading, &margin, &sheet(told, inputs, made_at))
}

fn sheet(told: &Told, inputs: &Inputs, made_at: &str) -> Markup {
    let a = &told.assessment;
    html! {
        @for (i, s) in told.plain.iter().enumerate() {
            @if i == 0 && s.id.contains("unsafe") {
                div.caution { (Mark::Stop.drawn()) h1 { (emphasised(&s.text)) } }
            } @else if s.id.contains("unsafe") {
                p.caution { (Mark::Stop.drawn()) span { (emphasised(&s.text)) } }
            } @else if i == 0 {
                h1 { (emphasised(&s.text)) }
            } @else {
                p.hand.more { span { (emphasised(&s.text)) } }
            }
        }
        div.cols {
            section.c6.sec #soot {
                h2 { (say("fig-soot-limit")) }
                figure.fig {
                    (both(|width, class| soot_drawing(&a.regeneration, width, class)))
                    figcaption { (say("fig-soot-limit-caption")) }
                }
                @if !told.find_out.is_empty() {
                    section.sec #find-out {
                        h2 { (say("regeneration-find-out")) }
                        ul.list { @for f in &told.find_out { li { (Mark::DoNow.drawn()) span { (f) } } } }
                    }
                }
            }
            section.c6.sec #burn {
                h2 { (say("fig-burn")) }
                @if let Some(s) = &told.scenario {
                    figure.fig {
                        (both(|width, class| burn_drawing(s, width, class)))
                        figcaption {
                            (say_with("fig-burn-caption", &args! {
                                "feed" => number(s.feed_degc, 0),
                                "flow" => number(s.flow_g_per_s, 0),
                                "doped" => say(if s.doped { "fig-burn-doped" } else { "fig-burn-undoped" })
                            }))
                        }
                    }
                    ul.list { @for c in &s.courses { li { span { "–" } span { (course(c)) } } } }
                }
                @if let Some(why) = &told.no_scenario { p.sub { (why) } }
                p.caution { (Mark::Stop.drawn()) span { (say("regeneration-model-caution")) } }
            }
        }
        section.sec #conditions {
            h2 { (say("head-conditions")) }
            table {
                tr { @for h in ["col-condition", "col-state", "col-because"] { th { (say(h)) } } }
                @for (state, [what, word, because]) in condition_rows(a, inputs) {
                    tr {
                        td { (what) }
                        td { span.nb { (mark(state).small()) " " @if state == State::Broken { b { (word) } } @else { (word) } } }
                        td { (because) }
                    }
                }
            }
        }
        section.sec #cautions {
            h2 { (say("head-cautions")) }
            ul.list {
                @for c in told.cautions.iter().filter(|c| c.id != "regeneration-model-caution") {
                    li { (Mark::Stop.drawn()) span { (c.text) } }
                }
            }
        }
        (problems(a, inputs))
        (title_block(inputs, made_at))
    }
}

fn mark(state: State) -> Mark {
    match state {
        State::Held => Mark::For,
        State::Open => Mark::CannotTell,
        State::Broken => Mark::Stop,
    }
}

fn both(draw: impl Fn(f64, &str) -> String) -> Markup {
    html! { (PreEscaped(draw(WIDE, "wide"))) (PreEscaped(draw(NARROW, "narrow"))) }
}

/// The posterior of the soot load against the substrate's range.
fn soot_drawing(r: &Regeneration, width: f64, class: &str) -> String {
    let label = say_with(
        "fig-soot-limit-label",
        &args! {
            "safe" => number(r.safe_load, 1),
            "low" => number(r.limit.0, 0),
            "high" => number(r.limit.1, 0),
            "percent" => of_100(r.above),
        },
    );
    let height = 300.0;
    let mut d = Drawing::new(&format!("soot-{class}"), class, (width, height), &label);
    let end = r.density.last().map_or(8.0, |p| p.0).max(r.limit.1 * 1.1);
    let x = Scale::new((0.0, end), (12.0, width - 12.0));
    let top = r.density.iter().map(|p| p.1).fold(0.0, f64::max);
    let foot = height - 54.0;
    let y = Scale::new((0.0, nice_end(top.max(0.05))), (foot, 44.0));
    d.hatched_box(Hatch::Ink, (x.at(r.limit.0), 26.0), (x.at(r.limit.1), foot));
    d.line("hair", (x.at(r.limit.0), 26.0), (x.at(r.limit.0), foot));
    d.line("hair", (x.at(r.limit.1), 26.0), (x.at(r.limit.1), foot));
    // The density as an area, cut at the safe load.
    let at = |p: &(f64, f64)| (x.at(p.0), y.at(p.1));
    let cut = |from: f64, to: f64| {
        let inside: Vec<(f64, f64)> = r.density.iter().filter(|p| p.0 >= from && p.0 <= to).map(at).collect();
        let mut area = Vec::with_capacity(inside.len() + 2);
        if let (Some(first), Some(last)) = (inside.first(), inside.last()) {
            area.push((first.0, foot));
            area.extend(&inside);
            area.push((last.0, foot));
        }
        area
    };
    let (below, above) = (cut(0.0, r.safe_load), cut(r.safe_load, f64::INFINITY));
    d.area("tint", &below);
    d.hatched(Hatch::Soot, &below);
    d.hatched(Hatch::Wax, &above);
    let line: Vec<(f64, f64)> = r.density.iter().map(at).collect();
    d.polyline(if r.soot.told { "pen2" } else { "openline" }, &line);
    d.line("dash", (x.at(r.safe_load), 8.0), (x.at(r.safe_load), foot));
    d.text("b s e halo", (x.at(r.safe_load) - 6.0, 20.0), &say("fig-soot-safe"));
    d.text("it s m halo", ((x.at(r.limit.0) + x.at(r.limit.1)) / 2.0, 20.0), &say("fig-soot-stands"));
    d.axis_below(&x, foot, &x.ticks(if width > 500.0 { 10 } else { 5 }), &say("fig-soot-axis"));
    d.finish()
}

/// Hottest place over time of the simulated burns.
fn burn_drawing(s: &Scenario, width: f64, class: &str) -> String {
    let soot = |i: usize| s.courses.get(i).map_or(f64::NAN, |c| c.soot_g_per_l);
    let label = say_with(
        "fig-burn-label",
        &args! {
            "feed" => number(s.feed_degc, 0),
            "median" => number(soot(0), 1),
            "upper" => number(soot(2), 1),
            "from" => number(s.damage_degc.0, 0),
            "to" => number(s.damage_degc.1, 0),
        },
    );
    let height = 320.0;
    let mut d = Drawing::new(&format!("burn-{class}"), class, (width, height), &label);
    let last = |c: &Course| c.trace.last().map_or(0.0, |m| m.time_s);
    let end = s.courses.iter().map(last).fold(60.0, f64::max) / 60.0;
    let peak = s.courses.iter().map(|c| c.peak_degc).fold(0.0, f64::max);
    let (left, right, foot) = (52.0, width - 10.0, height - 50.0);
    let x = Scale::new((0.0, end), (left, right));
    let y = Scale::new((0.0, nice_end((s.damage_degc.1 * 1.05).max(peak * 1.05))), (foot, 26.0));
    d.axis_left(&y, left, right, &y.ticks(5));
    d.hatched_box(Hatch::Ink, (left, y.at(s.damage_degc.1)), (right, y.at(s.damage_degc.0)));
    for c in &s.courses {
        let line: Vec<(f64, f64)> =
            c.trace.iter().map(|m| (x.at(m.time_s / 60.0), y.at(m.hottest_degc))).collect();
        d.polyline(
            match (c.upper, c.event) {
                (false, Event::Held) => "trace",
                (false, _) => "dash",
                (true, Event::Held) => "pen2",
                (true, _) => "openline",
            },
            &line,
        );
    }
    // The hottest moment of the worst course carries its number.
    if let Some(worst) = s.courses.iter().max_by(|a, b| a.peak_degc.total_cmp(&b.peak_degc)) {
        let hottest = worst.trace.iter().max_by(|a, b| a.hottest_degc.total_cmp(&b.hottest_degc));
        if let Some(m) = hottest {
            let (px, py) = (x.at(m.time_s / 60.0), y.at(m.hottest_degc));
            d.circle("dot", (px, py), 3.5);
            let (class, dx) = if px > width * 0.6 { ("b s e halo", -8.0) } else { ("b s halo", 8.0) };
            d.text(class, (px + dx, (py - 8.0).max(20.0)), &format!("{} degC", digits(worst.peak_degc, 0)));
        }
    }
    d.text("it s halo", (left + 4.0, 14.0), &say("fig-burn-axis"));
    d.axis_below(&x, foot, &x.ticks(if width > 500.0 { 10 } else { 5 }), &say("fig-strip-time"));
    d.finish()
}
