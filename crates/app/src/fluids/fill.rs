//! A fill by gravity: minutes, what makes it faster, where to stop; and the fill watched by its weights.

use super::stock::{Day, OnShelf};
use super::{Answer, Facts, read, sentences};
use crate::args;
use crate::cli::Question as Order;
use crate::failure::{Failure, Outcome};
use crate::print;
use crate::text::Page;
use crate::words::{number, say, say_with, words};
use additive::estimate::Estimate;
use additive::live::{LiveFill, State, Status, Target, Weight, scale_line};
use additive::stock::{Picking, pick};
use additive::transfer::{Fill, FillPlan};
use fluent_bundle::FluentArgs;
use serde::{Deserialize, Serialize};
use std::io::BufRead;
use std::path::Path;
use std::time::Instant;

pub const EXAMPLE: &str = include_str!("examples/fill.toml");

/// Steps of the planned course.
const STEPS: usize = 24;
/// Longest line that is kept, bytes.
const LONGEST_LINE: usize = 4096;
/// A state that lasts is said again after so many seconds.
const SAID_AGAIN_S: f64 = 5.0;

/// A fill of one fluid.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    fluid: String,
    fill: Fill,
    scale: Option<Scale>,
    /// Today, for what is in date; needed with containers.
    today: Option<Day>,
    /// What stands on the shelf.
    #[serde(default)]
    container: Vec<OnShelf>,
}

#[derive(Serialize)]
struct Found {
    #[serde(flatten)]
    plan: FillPlan,
    picking: Option<Picking>,
}

/// The scale a fill is watched with.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Scale {
    /// Standard uncertainty of one weight, g.
    uncertainty_g: f64,
    /// Mass the receiver can take at all, g.
    room_g: Option<f64>,
}

fn spread(e: Estimate, decimals: usize) -> FluentArgs<'static> {
    args! { "p50" => number(e.p50, decimals), "p05" => number(e.p05, decimals), "p95" => number(e.p95, decimals) }
}

fn plan(f: &Facts<Question>) -> Result<FillPlan, Failure> {
    let fluid = f.library.get(&f.facts.fluid).map_err(|e| f.physics(&e))?;
    f.facts.fill.plan(fluid).map_err(|e| f.physics(&e))
}

/// The answer.
pub fn answer(f: &Facts<Question>) -> Result<Answer, Failure> {
    let plan = plan(f)?;
    let w = words();
    let mut page = Page::default();
    match plan.minutes {
        Some(m) => page.strong(&say_with("out-fill-minutes", &spread(m, usize::from(m.p50 < 10.0)))),
        None => page.warning(&say("out-fill-stops")),
    }
    let mut mass = spread(plan.mass_g, 0);
    mass.set("tube", number(plan.tube_g, 0));
    page.line(&say_with("out-fill-mass", &mass));
    let shelf: Vec<_> = f.facts.container.iter().map(OnShelf::container).collect();
    let picking = match (&f.facts.today, shelf.is_empty()) {
        (Some(today), false) => Some(
            pick(&shelf, &f.facts.fluid, 1000.0 * f.facts.fill.volume_l, today.0)
                .map_err(|e| f.physics(&e))?,
        ),
        _ => None,
    };
    if let Some(picking) = &picking {
        super::stock::takes(&mut page, picking);
    }
    if !plan.levers.is_empty() {
        page.heading(&say("out-levers"));
        for l in &plan.levers {
            let said = w.fluid(&l.say);
            page.item(&match l.minutes_saved {
                Some(saved) => {
                    let mut args = spread(saved, usize::from(saved.p50 < 10.0));
                    args.set("say", said);
                    say_with("out-lever", &args)
                }
                None => said,
            });
        }
    }
    sentences(&mut page, "head-cautions", &plan.say);
    Ok(Answer::new(&Found { plan, picking }, page))
}

/// One line of what a scale or a person sends: a weight as scales write it, or seconds and a weight.
fn weight(line: &str, elapsed_s: f64) -> Option<Weight> {
    if line.contains(char::REPLACEMENT_CHARACTER) {
        return None;
    }
    let of = |time_s, grams| Weight { time_s, receiver_g: Some(grams), bottle_g: None };
    if let Ok(grams) = scale_line(line) {
        return Some(of(elapsed_s, grams));
    }
    let (seconds, rest) = line.trim().split_once(char::is_whitespace)?;
    Some(of(seconds.replace(',', ".").parse().ok()?, scale_line(rest).ok()?))
}

#[derive(Serialize)]
struct Line<'a> {
    time_s: f64,
    #[serde(flatten)]
    status: &'a Status,
    text: String,
}

/// The next line of a scale or a keyboard without its end, which may be CR, LF or both; `None` at the end. Bytes that
/// are no text (a torn line, noise on the wire) become marks that no weight holds.
fn next_line(from: &mut dyn BufRead) -> Option<String> {
    let mut line = Vec::new();
    loop {
        let buffer = match from.fill_buf() {
            Ok(b) => b,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(_) => return None,
        };
        if buffer.is_empty() {
            let text = String::from_utf8_lossy(&line).into_owned();
            return (!line.is_empty()).then_some(text);
        }
        match buffer.iter().position(|b| matches!(b, b'\r' | b'\n')) {
            Some(end) => {
                line.extend(buffer.iter().take(end));
                from.consume(end + 1);
                return Some(String::from_utf8_lossy(&line).into_owned());
            }
            None => {
                line.extend_from_slice(buffer);
                let n = buffer.len();
                from.consume(n);
                // A device that never ends a line is no scale.
                line.truncate(LONGEST_LINE);
            }
        }
    }
}

/// Watches a fill: one weight a line from the keyboard or a scale, one line of answer for each change of state and now
/// and then.
pub fn live(order: &Order, scale: Option<&Path>) -> Result<Outcome, Failure> {
    if order.example {
        print(EXAMPLE)?;
        return Ok(Outcome::Answered);
    }
    let f = read::<Question>(order)?;
    let plan = plan(&f)?;
    let fluid = f.library.get(&f.facts.fluid).map_err(|e| f.physics(&e))?;
    let Some(minutes) = plan.minutes else { return Err(Failure::Refused(say("out-fill-stops"))) };
    let setup = f.facts.fill.best_setup(fluid).map_err(|e| f.physics(&e))?;
    let course = setup.course(f.facts.fill.volume_l / 1000.0, STEPS).map_err(|e| f.physics(&e))?;
    let device = scale;
    let scale = f.facts.scale.as_ref();
    let target = Target::of(
        &course,
        minutes,
        setup.density_kg_m3,
        plan.tube_g,
        scale.map_or(1.0, |s| s.uncertainty_g),
        scale.and_then(|s| s.room_g),
    );
    let mut fill = target.and_then(LiveFill::new).map_err(|e| f.physics(&e))?;
    if !order.json {
        print(&(say("out-live") + "\n"))?;
    }
    let begin = Instant::now();
    let mut said: Option<(State, f64)> = None;
    let mut from: Box<dyn BufRead> = match device {
        Some(path) => {
            let file =
                std::fs::File::open(path).map_err(|e| Failure::read(&path.display().to_string(), &e))?;
            Box::new(std::io::BufReader::new(file))
        }
        None => Box::new(std::io::stdin().lock()),
    };
    let mut number = 0usize;
    while let Some(line) = next_line(from.as_mut()) {
        number += 1;
        if line.trim().is_empty() {
            // A person ends with an empty line; scales send them between weights.
            match device {
                Some(_) => continue,
                None => break,
            }
        }
        let status = weight(&line, begin.elapsed().as_secs_f64()).map(|w| (w.time_s, fill.push(w)));
        let (time_s, status) = match status {
            Some((time, Ok(status))) => (time, status),
            // A torn line of a serial scale loses that line only.
            _ => {
                let text: String = line.chars().take(40).collect();
                let said = say_with("out-live-line", &args! { "line" => number, "text" => text });
                if !order.json {
                    print(&(said + "\n"))?;
                }
                continue;
            }
        };
        let due = said.is_none_or(|(state, at)| state != status.state || time_s - at >= SAID_AGAIN_S);
        if due {
            said = Some((status.state, time_s));
            report(order.json, time_s, &status)?;
        }
    }
    Ok(Outcome::Answered)
}

fn report(json: bool, time_s: f64, status: &Status) -> Result<(), Failure> {
    let text = words().fluid(&status.say);
    if json {
        // One object a line, for programs that read along.
        let line = Line { time_s, status, text };
        let line = serde_json::to_string(&line).unwrap_or_default();
        return print(&(line + "\n"));
    }
    let mut page = Page::default();
    let said = say_with("out-live-state", &args! { "moved" => number(status.moved_g, 0), "say" => text });
    if status.state.is_alarm() {
        page.warning(&said)
    } else {
        page.line(&said)
    }
    if let (Some(left), Some(stop)) = (status.minutes_left, status.stop_receiver_g) {
        let mut args = spread(left, usize::from(left.p50 < 10.0));
        args.set("stop", number(stop, 0));
        page.line(&say_with("out-live-left", &args));
    }
    print(&page.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_lines_end_with_cr_lf_or_both_and_noise_is_kept_apart() {
        let mut from: &[u8] = b"12 g\r\n\xff3 g\r13\n14";
        let mut lines = Vec::new();
        while let Some(l) = next_line(&mut from) {
            lines.push(l);
        }
        assert_eq!(weight("\u{fffd}3 g", 0.0), None);
        assert_eq!(lines, ["12 g", "", "\u{fffd}3 g", "13", "14"]);
    }

    #[test]
    fn analytic_lines_of_a_scale() {
        let of = |l| weight(l, 3.0).map(|w| (w.time_s, w.receiver_g.unwrap_or(f64::NAN)));
        assert_eq!(of("1234.5"), Some((3.0, 1234.5)));
        assert_eq!(of("60 812,0 g"), Some((60.0, 812.0)));
        assert_eq!(of("60,5 812"), Some((60.5, 812.0)));
        assert_eq!(of("overload"), None);
        assert_eq!(of(""), None);
    }
}
