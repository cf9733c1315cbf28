//! How good the workshop's own diagnoses were: scores and a reliability plot.

use super::learn::read;
use crate::assess::write_page;
use crate::cli::KnowledgeScore;
use crate::failure::{Failure, Outcome};
use crate::output::{Input, Program};
use crate::svg::{Drawing, Scale};
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with};
use crate::{args, now, print, print_json};
use infer::learn::{Bin, Scores, scores};
use serde::Serialize;

#[derive(Serialize)]
struct Answer {
    schema: &'static str,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    #[serde(flatten)]
    scores: Scores,
}

/// `knowledge score`.
pub fn score(order: &KnowledgeScore) -> Result<Outcome, Failure> {
    let read = read(&order.jobs)?;
    let Some(s) = scores(&read.jobs) else {
        return Err(Failure::Refused(say_with(
            "error-nothing-to-score",
            &args! { "jobs" => read.jobs.len() },
        )));
    };
    if let Some(path) = &order.plot {
        write_page(path, &plot(&s))?;
    }
    if order.json {
        print_json(&Answer {
            schema: "sootwright.own-scores/1",
            program: Program::this(),
            made_at: now(),
            inputs: read.inputs,
            scores: s,
        })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    page.strong(&say_with(
        "out-own-scores",
        &args! { "jobs" => s.jobs, "of" => read.jobs.len(), "first" => of_100(s.first), "three" => of_100(s.in_three) },
    ));
    page.line(&say_with(
        "out-own-brier",
        &args! { "brier" => number(s.brier, 3), "log" => number(s.log, 2) },
    ));
    for (head, bins) in [("head-reliability-leading", &s.leading), ("head-reliability-faults", &s.faults)] {
        page.heading(&say(head));
        for b in bins {
            page.item(&say_with(
                "out-bin",
                &args! {
                    "from" => number(b.from * 100.0, 0), "to" => number(b.to * 100.0, 0), "count" => b.count,
                    "true" => b.true_count, "said" => of_100(b.mean_said), "low" => of_100(b.p05),
                    "high" => of_100(b.p95),
                },
            ));
        }
    }
    page.line(&say("out-own-scores-note"));
    if let Some(path) = &order.plot {
        page.line(&say_with("out-learned-file", &args! { "path" => path.display().to_string() }));
    }
    print(&page.finish())?;
    Ok(Outcome::Answered)
}

/// Ink that stands without a page around it.
const STYLE: &str = "<style>svg{background:#fff}text{font:14px/1.2 sans-serif;fill:#1b1b1b}.e{text-anchor:end}\
.m{text-anchor:middle}.it{font-style:italic}.ax{stroke:#333;fill:none}.ax2{stroke:#ccc;fill:none}\
.dash{stroke:#333;stroke-dasharray:5 4;fill:none}.pen{stroke:#1b1b1b;stroke-width:1.5;fill:none}\
.dot{fill:#1b1b1b}.hole{fill:#fff;stroke:#1b1b1b;stroke-width:1.5}</style>";

/// Said against came true: discs for the leading fault set, diamonds for single faults, bars for 90 % intervals,
/// counts beside them.
fn plot(s: &Scores) -> String {
    let (left, top, right, foot) = (70.0, 70.0, 570.0, 570.0);
    let label = say_with("fig-reliability-label", &args! { "jobs" => s.jobs });
    let mut d = Drawing::new("reliability", "fit", (640.0, 640.0), &label);
    let (x, y) = (Scale::new((0.0, 1.0), (left, right)), Scale::new((0.0, 1.0), (foot, top)));
    let ticks = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0];
    d.axis_left(&y, left, right, &ticks);
    d.axis_below(&x, foot, &ticks, &say("fig-axis-said"));
    d.text("it", (left, top - 14.0), &say("fig-axis-came-true"));
    d.text("b", (left, 26.0), &label);
    d.line("dash", (x.at(0.0), y.at(0.0)), (x.at(1.0), y.at(1.0)));
    let mut draw = |bins: &[Bin], leading: bool| {
        for b in bins {
            // A little apart, so that both can be read where they meet.
            let shift = if leading { -4.0 } else { 4.0 };
            let (px, py) = (x.at(b.mean_said) + shift, y.at(b.share));
            d.line("pen", (px, y.at(b.p05)), (px, y.at(b.p95)));
            for end in [b.p05, b.p95] {
                d.line("pen", (px - 5.0, y.at(end)), (px + 5.0, y.at(end)));
            }
            if leading {
                d.circle("dot", (px, py), 5.0);
                d.text("e", (px - 8.0, py - 6.0), &b.count.to_string());
            } else {
                d.diamond("hole", (px, py), 6.0);
                d.text("", (px + 9.0, py + 14.0), &b.count.to_string());
            }
        }
    };
    draw(&s.faults, false);
    draw(&s.leading, true);
    d.circle("dot", (left + 24.0, top + 18.0), 5.0);
    d.text("", (left + 38.0, top + 23.0), &say("fig-key-leading"));
    d.diamond("hole", (left + 24.0, top + 40.0), 6.0);
    d.text("", (left + 38.0, top + 45.0), &say("fig-key-faults"));
    d.text("", (left + 18.0, top + 67.0), &say("fig-key-bars"));
    d.finish().replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1).replacen(
        '>',
        &format!(">{STYLE}"),
        1,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_points_of_perfect_reliability_lie_on_the_diagonal() {
        let bin = Bin {
            from: 0.4,
            to: 0.6,
            count: 10,
            true_count: 5,
            mean_said: 0.5,
            share: 0.5,
            p05: 0.27,
            p95: 0.73,
        };
        let s = Scores {
            jobs: 10,
            brier: 0.5,
            log: -0.7,
            first: 0.5,
            in_three: 1.0,
            leading: vec![bin],
            faults: vec![],
        };
        let svg = plot(&s);
        // The middle of both axes: x = (70 + 570) / 2 less the shift of 4, y the same without it.
        assert!(svg.contains("cx=\"316.0\" cy=\"320.0\""), "{svg}");
        assert!(svg.starts_with("<svg xmlns") && svg.contains(">10<"));
    }
}
