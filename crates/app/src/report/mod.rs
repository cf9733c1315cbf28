//! The report: one sheet of HTML with nothing outside itself, no script, and print in mind.

pub mod figures;
pub mod life;
mod marks;
pub mod regeneration;

use crate::args;
use crate::inputs::Inputs;
use crate::outlook;
use crate::output;
use crate::text;
use crate::text::{
    figures as estimates, keeps_from, likely, missing, of_100, place_and_what, told_cells, window_digits,
};
use crate::words::{digits, number, say, say_with, words};
use facts::Knowledge;
use infer::assessment::{Assessment, Text};
use infer::due::Says;
use marks::Mark;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// The whole page.
pub fn page(a: &Assessment, inputs: &Inputs, made_at: &str) -> String {
    let title = inputs.case.title.clone().unwrap_or_else(|| say("page-untitled"));
    let heading = say_with("page-title", &args! { "title" => title.clone() });
    shell(&heading, &margin(a, inputs, &title), &sheet(a, inputs, made_at))
}

/// A page around its margin and its sheet.
fn shell(title: &str, margin: &Markup, sheet: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width,initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content=(format!("sootwright {}", env!("CARGO_PKG_VERSION")));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#sheet" { (say("page-skip")) }
                div.desk {
                    (margin)
                    main.sheet #sheet { (sheet) }
                }
            }
        }
    };
    page.into_string()
}

fn margin(a: &Assessment, inputs: &Inputs, title: &str) -> Markup {
    let odometer = inputs.case.car.odometer_km;
    let parts = [
        ("pressure", "fig-pressure", true),
        ("faults", "head-faults", true),
        ("figures", "head-figures", true),
        ("recordings", "decode-signals", false),
        ("life", "head-life", a.life.is_some()),
        ("additive", "head-additive", a.additive.is_some()),
        ("proof", "head-proof", a.proof.is_some()),
        ("burns", "head-burns", !a.burns.is_empty()),
        ("ash", "head-ash", !text::ash(a).is_empty()),
        ("oil", "head-oil", a.fuel_in_oil.is_some()),
        ("readings", "head-readings", !a.readings.is_empty()),
        ("why", "head-why", !a.why.is_empty()),
        ("missing", "head-missing", !a.missing.is_empty()),
        ("open", "head-open", !a.cannot_tell.is_empty()),
        ("cautions", "head-cautions", !a.cautions.is_empty()),
    ];
    html! {
        nav.margin {
            span.plate { (title) }
            @if let Some(km) = odometer { p.who { span.nb { (digits(km, 0)) " km" } } }
            ol.thread {
                @for (id, words, there) in parts {
                    @if there { li { a href=(format!("#{id}")) { (say(words)) } } }
                }
            }
        }
    }
}

fn sheet(a: &Assessment, inputs: &Inputs, made_at: &str) -> Markup {
    let knowledge = inputs.knowledge();
    html! {
        (answer(a, knowledge))
        div.cols {
            section.c7.sec #pressure {
                h2 { (say("fig-pressure")) }
                (figures::pressure(a))
            }
            section.c5.sec #faults { (faults(a, knowledge)) }
        }
        section.sec #figures { (intervals(a)) }
        (life::section(a, inputs))
        (figures::recordings(a, inputs))
        @if let Some(b) = &a.additive {
            section.sec #additive {
                h2 { (say("head-additive")) }
                (figures::waterfall(b))
            }
        }
        (proof(a, knowledge))
        (lines("burns", "head-burns", &outlook::burns(a, inputs).iter().map(text::burn).collect::<Vec<_>>()))
        (lines("ash", "head-ash", &text::ash(a)))
        (lines("oil", "head-oil", &text::fuel_in_oil(a).into_iter().collect::<Vec<_>>()))
        @if !a.readings.is_empty() {
            section.sec #readings {
                h2 { (say("head-readings")) }
                ul.list {
                    @for r in a.readings.iter().take(5) {
                        li { (Mark::Wanted.drawn()) span { (text::next_reading(r, knowledge)) } }
                    }
                }
            }
        }
        div.cols {
            @if !a.why.is_empty() {
                section.c6.sec #why { (why(&a.why, knowledge)) }
            }
            @if !a.missing.is_empty() {
                section.c6.sec #missing {
                    h2 { (say("head-missing")) }
                    ul.list {
                        @for m in a.missing.iter().take(6) { li { (Mark::Wanted.drawn()) span { (missing(m)) } } }
                    }
                }
            }
        }
        @if !a.cannot_tell.is_empty() {
            section.sec #open { (open(a, knowledge)) }
        }
        @if !a.cautions.is_empty() {
            section.sec #cautions {
                h2 { (say("head-cautions")) }
                ul.list {
                    @for c in &a.cautions { li { (Mark::Stop.drawn()) span { (words().text(c, knowledge)) } } }
                }
            }
        }
        (problems(a, inputs))
        (title_block(inputs, made_at))
    }
}

/// A section of sentences; nothing where there are none.
fn lines(id: &str, head: &str, list: &[String]) -> Markup {
    html! {
        @if !list.is_empty() {
            section.sec id=(id) {
                h2 { (say(head)) }
                ul.list { @for l in list { li { span { "–" } span { (l) } } } }
            }
        }
    }
}

/// Numbers of a sentence in bold, as the eye looks for them.
fn emphasised(sentence: &str) -> Markup {
    let numeric = |c: char| c.is_ascii_digit() || matches!(c, '.' | '\u{202f}' | '−');
    let mut parts: Vec<(bool, String)> = Vec::new();
    for c in sentence.chars() {
        // A point belongs to a number only between digits; one at its end is put back below.
        let bold = numeric(c) && (c.is_ascii_digit() || c == '−' || parts.last().is_some_and(|p| p.0));
        match parts.last_mut() {
            Some(last) if last.0 == bold => last.1.push(c),
            _ => parts.push((bold, c.to_string())),
        }
    }
    // Of "86 of 100" only the first number carries news; a number keeps its unit beside it.
    let mut out = Vec::new();
    for (i, (bold, text)) in parts.iter().enumerate() {
        let after = |end: &str| i > 0 && parts.get(i - 1).is_some_and(|p| p.1.ends_with(end));
        let core = text.trim_end_matches('.');
        let rest = text.get(core.len()..).unwrap_or_default().to_owned();
        if *bold && !(core == "100" && after(" of ")) {
            out.push((Some(core.to_owned()), rest));
        } else if *bold {
            out.push((None, text.clone()));
        } else {
            let kept = text.strip_prefix(' ').filter(|_| i > 0).map(|t| format!("\u{a0}{t}"));
            out.push((None, kept.unwrap_or_else(|| text.clone())));
        }
    }
    html! {
        @for (strong, rest) in &out {
            @if let Some(strong) = strong { b { (strong) } }
            (rest)
        }
    }
}

/// What it is and how sure as the sheet's sentences; what next with a pennant; what not to do as a caution.
fn answer(a: &Assessment, knowledge: &Knowledge) -> Markup {
    let w = words();
    let next = |t: &Text| t.id.starts_with("plain-next-");
    let first = |t: &&Text| !keeps_from(t) && !next(t);
    html! {
        @for (i, t) in a.plain.iter().filter(first).enumerate() {
            @if i == 0 { h1 { (emphasised(&w.text(t, knowledge))) } }
            @else { p.hand.more { span { (emphasised(&w.text(t, knowledge))) } } }
        }
        @for t in a.plain.iter().filter(|t| next(t)) {
            p.hand { (Mark::DoNow.drawn()) b { (w.text(t, knowledge)) } }
        }
        @for t in a.plain.iter().filter(|t| keeps_from(t)) {
            p.caution { (Mark::Stop.drawn()) span { (w.text(t, knowledge)) } }
        }
    }
}

fn faults(a: &Assessment, knowledge: &Knowledge) -> Markup {
    let shown = likely(&a.faults);
    html! {
        h2 { (say("head-faults")) }
        p.sub { (say(if a.fault_set_told { "head-faults-told" } else { "head-faults-open" })) }
        ol {
            @for (i, (fault, p)) in shown.iter().enumerate() {
                @let known = fault.map_or(knowledge.none(), |f| knowledge.fault(f));
                li.cause {
                    span.rank { (i + 1) }
                    b { @if fault.is_some() { (known.label) } @else { (say("none-fault")) } }
                    span.n { (of_100(*p)) }
                    (figures::probability(*p, &known.label))
                    @if fault.is_some() { p.ev { (known.magnitude) } }
                }
            }
        }
        p.sub { (say("fig-faults-caption")) }
    }
}

fn intervals(a: &Assessment) -> Markup {
    html! {
        h2 { (say("head-figures")) }
        table.figs {
            tr {
                th { (say("col-figure")) }
                th.n { (say("col-best")) }
                th { (say("col-unit")) }
                th { (say("col-range")) }
                th { }
            }
            @for (name, e, unit, decimals) in estimates(a) {
                @let (best, range) = told_cells(e, decimals);
                tr {
                    td { (say(name)) }
                    td.n { @if e.told { b { (best) } } @else { small { (Mark::CannotTell.small()) " " (best) } } }
                    td.u { (unit) }
                    td.iv { (range) }
                    td.dim { (figures::interval(name, e)) }
                }
            }
        }
        p.sub { (say("fig-intervals-caption")) }
        p.sub {
            (say_with("note-standard", &args! {
                "flow" => number(a.filter.standard_flow_g_per_s, 0),
                "volume" => number(a.filter.volume_l, 1)
            }))
            @if let Some(b) = a.additive.as_ref().filter(|b| b.left_l.told) {
                " " (due(b))
            }
        }
    }
}

fn due(b: &infer::balance::Balance) -> String {
    match infer::due::says(b.due_km) {
        Says::Window => {}
        Says::NotBefore => {
            let [from, ..] = window_digits(b.due_km);
            return say_with("note-due-not-before", &args! { "from" => from });
        }
        Says::Nothing => return say("note-due-nothing"),
    }
    let [km_from, km, km_to] = window_digits(b.due_km);
    let [days_from, days, days_to] = window_digits(b.due_days);
    say_with(
        "fig-due",
        &args! {
            "km" => km,
            "km-from" => km_from,
            "km-to" => km_to,
            "days" => days,
            "days-from" => days_from,
            "days-to" => days_to,
            "reserve" => number(b.reserve_l, 2),
        },
    )
}

fn proof(a: &Assessment, knowledge: &Knowledge) -> Markup {
    let Some(p) = &a.proof else { return html! {} };
    let reason = words().text(&p.reason, knowledge);
    html! {
        section.sec #proof {
            h2 { (say("head-proof")) }
            p.hand {
                span {
                    @if p.ratio.told {
                        (emphasised(&say_with("note-proof", &args! {
                            "reason" => reason,
                            "p50" => number(p.ratio.p50, 2),
                            "p05" => number(p.ratio.p05, 2),
                            "p95" => number(p.ratio.p95, 2),
                            "percent" => of_100(p.improved_probability)
                        })))
                    } @else { (reason) }
                }
            }
        }
    }
}

fn why(list: &[Text], knowledge: &Knowledge) -> Markup {
    html! {
        h2 { (say("head-why")) }
        ul.list {
            @for t in list {
                li { (Mark::of_factor(t).drawn()) span { (words().text(t, knowledge)) } }
            }
        }
    }
}

fn open(a: &Assessment, knowledge: &Knowledge) -> Markup {
    html! {
        h2 { (say("head-open")) }
        ol.open {
            @for q in output::open_questions(&a.cannot_tell, knowledge) {
                li {
                    (Mark::CannotTell.drawn())
                    div {
                        b { (q.question) } " " (q.reason)
                        @if !q.would_decide.is_empty() {
                            ul.open2 { @for w in &q.would_decide { li { (w) } } }
                        }
                    }
                }
            }
        }
    }
}

fn problems(a: &Assessment, inputs: &Inputs) -> Markup {
    let all: Vec<String> = inputs
        .problems
        .iter()
        .map(place_and_what)
        .chain(a.problems.iter().map(|t| words().text(t, inputs.knowledge())))
        .collect();
    html! {
        @if !all.is_empty() {
            section.sec #problems {
                h2 { (say("head-problems")) }
                ul.list {
                    @for p in all.iter().take(20) { li { (Mark::NotDone.drawn()) span.path { (p) } } }
                }
                @if all.len() > 20 { p.sub { (say_with("decode-more", &args! { "count" => all.len() - 20 })) } }
            }
        }
    }
}

/// The strip at the foot, as on a technical drawing: what it was made by and from.
fn title_block(inputs: &Inputs, made_at: &str) -> Markup {
    html! {
        footer.block {
            div {
                div.name { "sootwright" }
                p { (say_with("page-made", &args! { "version" => env!("CARGO_PKG_VERSION"), "time" => made_at.to_owned() })) }
                small { (say("page-units")) }
                small { (say("page-read-only")) }
            }
            div {
                small { (say("page-provenance")) }
                ul {
                    @for i in &inputs.list {
                        li { span.path { (i.path) } code { (say("page-hash")) " " (i.blake3) } }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_numbers_stand_out_and_markup_is_escaped() {
        let out = emphasised("Soot 4.6 g/L, at 12\u{202f}345 km. <b>Not 3.").into_string();
        assert_eq!(out, "Soot <b>4.6</b>\u{a0}g/L, at <b>12\u{202f}345</b>\u{a0}km. &lt;b&gt;Not <b>3</b>.");
    }
}
