//! The knowledge as a drawing: faults on the left, observations on the right, a line where one moves the other.

use crate::words::{say, say_with};
use crate::{args, words};
use facts::{FaultId, Knowledge};
use std::collections::BTreeSet;
use std::fmt::Write as _;

/// Height of one row, px.
const ROW: f64 = 18.0;
/// Where the lines begin and end, px.
const LEFT: f64 = 430.0;
const RIGHT: f64 = 780.0;
const WIDTH: f64 = 1350.0;
const HEAD: f64 = 58.0;

/// A likelihood ratio to the background from which a line is drawn.
const SPEAKS: f64 = 2.0;

/// The drawing as SVG. An empty list of faults draws all of them.
pub fn drawing(k: &Knowledge, only: &[FaultId]) -> String {
    let mut faults: Vec<FaultId> =
        FaultId::ALL.iter().copied().filter(|f| only.is_empty() || only.contains(f)).collect();
    faults.sort_by_key(|f| (k.fault(*f).family.clone(), f.id()));
    let mut lines: Vec<(usize, &str, f64)> = Vec::new();
    for (i, &f) in faults.iter().enumerate() {
        for o in k.observations() {
            let p = k.probability(f, &o.id);
            let ratio = if p >= o.background { p / o.background } else { (1.0 - p) / (1.0 - o.background) };
            if ratio >= SPEAKS {
                lines.push((i, &o.id, if p >= o.background { ratio } else { -ratio }));
            }
        }
    }
    let met: BTreeSet<&str> = lines.iter().map(|l| l.1).collect();
    // An observation stands where the middle of its faults is, so that few lines cross.
    let middle = |id: &str| {
        let of: Vec<f64> = lines.iter().filter(|l| l.1 == id).map(|l| l.0 as f64).collect();
        of.iter().sum::<f64>() / of.len().max(1) as f64
    };
    let mut observations: Vec<&str> = met.into_iter().collect();
    observations.sort_by(|a, b| middle(a).total_cmp(&middle(b)).then(a.cmp(b)));
    let rows = faults.len().max(observations.len()).max(1);
    let height = HEAD + ROW * rows as f64 + 24.0;
    let y = |i: usize, of: usize| HEAD + ROW * (i as f64 + 0.5) * rows as f64 / of.max(1) as f64;

    let mut svg = String::new();
    // Writing into a string cannot fail.
    let _ = write!(
        svg,
        concat!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {:.0}" role="img" aria-label="{}">"#,
            "<style>svg{{font:12px/1.2 sans-serif;background:#fff}}text{{fill:#1b1b1b}}.e{{text-anchor:end}}",
            ".h{{font-weight:bold}}.s{{fill:#555}}path{{fill:none;stroke:#333}}.n{{stroke-dasharray:3 3}}</style>"
        ),
        WIDTH,
        height,
        escape(&say("fig-knowledge"))
    );
    let mut text = |class: &str, x: f64, y: f64, t: &str| {
        let _ = write!(svg, r#"<text class="{class}" x="{x:.0}" y="{y:.1}">{}</text>"#, escape(t));
    };
    text("h e", LEFT - 8.0, 22.0, &say("fig-faults"));
    text("h", RIGHT + 8.0, 22.0, &say("fig-observations"));
    text("s e", LEFT - 8.0, 40.0, &say("fig-prior"));
    text("s", RIGHT + 8.0, 40.0, &say("fig-line-meaning"));
    for (i, &f) in faults.iter().enumerate() {
        let label = shorten(&k.fault(f).label, 58);
        let prior = words::digits(100.0 * k.prior(f), 1);
        text("e", LEFT - 8.0, y(i, faults.len()) + 4.0, &format!("{label} · {prior} %"));
    }
    for (i, id) in observations.iter().enumerate() {
        let Some(o) = k.observation(id) else { continue };
        let set_up = o.set_up.as_deref().map_or_else(String::new, |s| format!(" + {s}"));
        let minutes = words::digits(o.minutes, 0);
        let t = say_with(
            "fig-observation-row",
            &args! { "label" => shorten(&o.label, 62), "minutes" => minutes, "set-up" => set_up },
        );
        text("", RIGHT + 8.0, y(i, observations.len()) + 4.0, &t);
    }
    for (i, id, ratio) in &lines {
        let Some(j) = observations.iter().position(|o| o == id) else { continue };
        let (a, b) = (y(*i, faults.len()), y(j, observations.len()));
        let width = 0.5 + 0.75 * ratio.abs().ln().min(4.5);
        let class = if *ratio < 0.0 { r#" class="n""# } else { "" };
        let opacity = if only.is_empty() { 0.45 } else { 0.8 };
        let _ = write!(
            svg,
            r#"<path{class} stroke-width="{width:.1}" stroke-opacity="{opacity}" d="M{LEFT} {a:.1}C{:.0} {a:.1} {:.0} {b:.1} {RIGHT} {b:.1}"/>"#,
            LEFT + 140.0,
            RIGHT - 140.0
        );
    }
    svg.push_str("</svg>\n");
    svg
}

fn shorten(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut out: String = text.chars().take(most - 1).collect();
    out.push('…');
    out
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
