//! The answer for a terminal: sentences first, then figures, then why.

use crate::args;
use crate::inputs::Inputs;
use crate::outlook;
use crate::output::{self, Told};
use crate::words::{decimals_for, digits, earned, number, say, say_with, within, words};
use anstyle::{AnsiColor, Style};
use comfy_table::{CellAlignment, ContentArrangement, LineStyle, Table, TableStyle, presets};
use infer::assessment::{Assessment, Estimate, Text};
use infer::balance::{Balance, Interval, Window};
use infer::due::Says;
use infer::information::Figure;
use std::fmt::Write as _;

/// Width of the text, columns.
const WIDTH: usize = 96;
/// Faults below this probability are counted together.
pub const SHOWN_FROM: f64 = 0.02;
/// Most faults listed one by one.
pub const SHOWN_MOST: usize = 8;

/// One line below the header and none between rows: an answer must fit a screen.
const TABLE: TableStyle = presets::NOTHING.header_separator(LineStyle::none().fill('─'));

const HEADING: Style = Style::new().bold().underline();
const BOLD: Style = Style::new().bold();
const WARNING: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Red)));

/// A text under construction. Styles are ANSI codes; whoever prints strips them where no terminal shows them.
#[derive(Default)]
pub struct Page {
    text: String,
}

impl Page {
    /// The finished text.
    pub fn finish(self) -> String {
        self.text
    }

    fn push(&mut self, style: Style, prefix: &str, text: &str) {
        let indent = " ".repeat(prefix.chars().count());
        let options = textwrap::Options::new(WIDTH).initial_indent(prefix).subsequent_indent(&indent);
        for line in textwrap::wrap(text, options) {
            // Writing into a string cannot fail.
            let _ = writeln!(self.text, "{style}{line}{style:#}");
        }
    }

    /// A heading with an empty line before it.
    pub fn heading(&mut self, text: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        self.push(HEADING, "", text);
    }

    /// A sentence.
    pub fn line(&mut self, text: &str) {
        self.push(Style::new(), "", text);
    }

    /// A sentence that carries the answer.
    pub fn strong(&mut self, text: &str) {
        self.push(BOLD, "", text);
    }

    /// A sentence that keeps from harm.
    pub fn warning(&mut self, text: &str) {
        self.push(WARNING, "! ", text);
    }

    /// An item of a list.
    pub fn item(&mut self, text: &str) {
        self.push(Style::new(), "- ", text);
    }

    /// An item of a list below an item.
    pub fn sub_item(&mut self, text: &str) {
        self.push(Style::new(), "  > ", text);
    }

    /// A table; columns named in `right` are set flush right.
    pub fn table(&mut self, header: &[String], rows: &[Vec<String>], right: &[usize]) {
        if rows.is_empty() {
            return;
        }
        let mut table = Table::new();
        table
            .load_style(TABLE)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(WIDTH as u16)
            .set_header(header);
        for row in rows {
            table.add_row(row);
        }
        for i in right {
            if let Some(column) = table.column_mut(*i) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        for line in table.to_string().lines() {
            let _ = writeln!(self.text, "{}", line.trim_end());
        }
    }
}

/// Best figure and range of an estimate, or the words that withhold it.
pub fn told_cells(e: Estimate, most_decimals: usize) -> (String, String) {
    let d = decimals_for(e.p95 - e.p05, most_decimals);
    if e.told {
        (digits(e.p50, d), format!("{} – {}", digits(e.p05, d), digits(e.p95, d)))
    } else {
        (
            say("cell-cannot-tell"),
            say_with(
                "cell-cannot-tell-range",
                &args! { "from" => digits(e.p05, d), "to" => digits(e.p95, d) },
            ),
        )
    }
}

/// The estimates of the answer: identifier of their name, estimate, unit, most decimals.
pub fn figures(a: &Assessment) -> Vec<(&'static str, Estimate, &'static str, usize)> {
    let f = &a.filter;
    let mut list = vec![
        ("row-soot-load", f.soot_load_g_per_l, "g/L", 1),
        ("row-soot-mass", f.soot_mass_g, "g", 1),
        ("row-ash-mass", f.ash_mass_g, "g", 1),
        ("row-zero", f.zero_kpa, "kPa", 2),
        ("row-standard", f.standard_pressure_drop_kpa, "kPa", 2),
        ("row-standard-new", f.standard_pressure_drop_as_new_kpa, "kPa", 2),
        ("row-ratio", f.ratio_to_as_new, "", 2),
    ];
    if let Some(b) = &a.additive {
        list.extend(balance_figures(b));
    }
    list
}

fn balance_figures(b: &Balance) -> [(&'static str, Estimate, &'static str, usize); 5] {
    [
        ("row-left", b.left_l, "L", 2),
        ("row-used", b.used_l, "L", 2),
        ("row-expected", b.expected_used_l, "L", 2),
        ("row-dose-factor", b.dose_factor, "", 2),
        ("row-leak", b.leak_ml_per_day, "mL/d", 1),
    ]
}

/// The three quantiles of a window, with the digits that its width earns.
pub fn window_digits(w: Window) -> [String; 3] {
    let width = w.p90 - w.p10;
    let d = decimals_for(width, 0);
    [w.p10, w.p50, w.p90].map(|v| digits(earned(v, width), d))
}

fn window_row(name: &str, w: Window, unit: &str) -> Vec<String> {
    let [from, best, to] = window_digits(w);
    vec![say(name), best, format!("{from} – {to}"), unit.to_owned()]
}

fn figure_rows(list: &[(&'static str, Estimate, &'static str, usize)]) -> Vec<Vec<String>> {
    list.iter()
        .map(|&(name, e, unit, decimals)| {
            let (best, range) = told_cells(e, decimals);
            vec![say(name), best, range, unit.to_owned()]
        })
        .collect()
}

fn figure_header() -> Vec<String> {
    ["col-figure", "col-best", "col-range", "col-unit"].map(say).to_vec()
}

/// Parts of the balance in the order of the waterfall.
pub fn waterfall(b: &Balance) -> [(&'static str, Interval); 5] {
    let w = &b.waterfall;
    [
        ("row-poured", w.poured),
        ("row-dosed-controller", w.dosed_by_controller),
        ("row-dosed-physics", w.dosed_by_physics),
        ("row-left-now", w.left),
        ("row-unexplained", w.unexplained),
    ]
}

fn waterfall_rows(b: &Balance) -> Vec<Vec<String>> {
    waterfall(b)
        .iter()
        .map(|&(name, i)| {
            let d = decimals_for(i.p95 - i.p05, 2);
            vec![
                say(name),
                digits(i.p50, d),
                format!("{} – {}", digits(i.p05, d), digits(i.p95, d)),
                "L".to_owned(),
            ]
        })
        .collect()
}

/// Probability as a count of 100, never a false 0 or 100.
pub fn of_100(p: f64) -> String {
    match 100.0 * p {
        x if x > 0.0 && x < 0.5 => "< 1".into(),
        x if (99.5..100.0).contains(&x) => "> 99".into(),
        x => digits(x, 0),
    }
}

fn cannot_tell(page: &mut Page, list: &[output::OpenQuestion]) {
    if list.is_empty() {
        return;
    }
    page.heading(&say("head-open"));
    for q in list {
        page.item(&format!(
            "{} {}",
            q.question,
            if q.would_decide.is_empty() {
                q.reason.clone()
            } else {
                say_with("note-open-reason", &args! { "reason" => q.reason.clone() })
            }
        ));
        for w in &q.would_decide {
            page.sub_item(w);
        }
    }
}

/// True for the sentence that says what not to do.
pub fn keeps_from(text: &Text) -> bool {
    text.id.starts_with("plain-not-")
}

/// The answer to one case.
pub fn assessment(a: &Assessment, inputs: &Inputs, made_at: &str) -> String {
    let knowledge = inputs.knowledge();
    let w = words();
    let mut page = Page::default();
    if let Some(title) = &inputs.case.title {
        page.line(&say_with("head-case", &args! { "title" => title.clone() }));
    }
    for text in &a.plain {
        let said = w.text(text, knowledge);
        if keeps_from(text) { page.warning(&said) } else { page.strong(&said) }
    }

    page.heading(&say("head-figures"));
    let mut rows = figure_rows(&figures(a));
    let mut wide = None;
    if let Some(b) = a.additive.as_ref().filter(|b| b.left_l.told) {
        wide = to_the_reserve(b, &mut rows);
    }
    page.table(&figure_header(), &rows, &[1]);
    wide.iter().for_each(|line| page.line(line));
    let f = &a.filter;
    page.line(&say_with(
        "note-standard",
        &args! { "flow" => number(f.standard_flow_g_per_s, 0), "volume" => number(f.volume_l, 1) },
    ));
    if let Some(b) = a.additive.as_ref().filter(|b| b.left_l.told) {
        page.line(&say_with("note-due", &args! { "reserve" => number(b.reserve_l, 2) }));
    }

    page.heading(&say("head-faults"));
    page.line(&say(if a.fault_set_told { "head-faults-told" } else { "head-faults-open" }));
    let shown = likely(&a.faults);
    let mut rows: Vec<Vec<String>> = shown
        .iter()
        .map(|&(fault, p)| {
            let known = fault.map_or(knowledge.none(), |f| knowledge.fault(f));
            let label = fault.map_or_else(|| within(&say("none-fault")), |_| within(&known.label));
            vec![of_100(p), label, fault.map_or_else(String::new, |_| known.magnitude.clone())]
        })
        .collect();
    if let Some((_, next)) = a.faults.get(shown.len()) {
        rows.push(vec![format!("≤ {}", of_100(*next)), say("note-rest"), String::new()]);
    }
    page.table(&["col-of-100", "col-fault", "col-counts-from"].map(say), &rows, &[0]);

    let told = life(a);
    if !told.is_empty() {
        page.heading(&say("head-life"));
        told.iter().for_each(|line| page.item(line));
    }
    if let Some(p) = &a.proof {
        page.heading(&say("head-proof"));
        let reason = w.text(&p.reason, knowledge);
        if p.ratio.told {
            let ratio: Told = p.ratio.into();
            page.line(&say_with(
                "note-proof",
                &args! {
                    "reason" => reason,
                    "p50" => number(ratio.p50.unwrap_or(f64::NAN), 2),
                    "p05" => number(ratio.p05.unwrap_or(f64::NAN), 2),
                    "p95" => number(ratio.p95.unwrap_or(f64::NAN), 2),
                    "percent" => of_100(p.improved_probability),
                },
            ));
        } else {
            page.line(&reason);
        }
    }

    if let Some(b) = &a.additive {
        page.heading(&say("head-additive"));
        page.table(&figure_header(), &waterfall_rows(b), &[1]);
    }

    section(&mut page, "head-burns", outlook::burns(a, inputs).iter().map(burn));
    section(&mut page, "head-ash", ash(a).into_iter());
    section(&mut page, "head-oil", fuel_in_oil(a).into_iter());
    section(&mut page, "head-why", a.why.iter().map(|t| w.text(t, knowledge)));
    section(&mut page, "head-readings", a.readings.iter().take(4).map(|r| next_reading(r, knowledge)));
    section(&mut page, "head-missing", a.missing.iter().take(5).map(missing));
    cannot_tell(&mut page, &output::open_questions(&a.cannot_tell, knowledge));
    section(&mut page, "head-cautions", a.cautions.iter().map(|t| w.text(t, knowledge)));
    let of_files = inputs.problems.iter().map(place_and_what);
    section(&mut page, "head-problems", of_files.chain(a.problems.iter().map(|t| w.text(t, knowledge))));
    page.heading(&say("head-inputs"));
    for i in &inputs.list {
        let hash: String = i.blake3.chars().take(16).collect();
        page.line(&say_with("note-input", &args! { "path" => i.path.clone(), "hash" => hash }));
    }
    page.line(&say_with(
        "note-program",
        &args! { "version" => env!("CARGO_PKG_VERSION"), "time" => made_at.to_owned() },
    ));
    page.finish()
}

/// The life, one line a visit; empty for a single one.
pub fn life(a: &Assessment) -> Vec<String> {
    let Some(life) = &a.life else { return Vec::new() };
    let mut out = Vec::new();
    for v in &life.visits {
        let soot = v.filter.soot_load_g_per_l;
        let drop = v.filter.standard_pressure_drop_kpa;
        let date = v.time.map_or_else(String::new, |t| t.to_string().chars().take(10).collect());
        let km = v.odometer_km.map_or_else(|| say("cell-not-known"), |km| digits(km, 0));
        let one = |x: f64| digits(x, 1);
        out.push(say_with(
            "out-life-visit",
            &args! {
                "km" => km, "date" => date,
                "soot" => one(soot.p50), "from" => one(soot.p05), "to" => one(soot.p95),
                "drop" => digits(drop.p50, 2),
            },
        ));
        for (p, id) in [
            (v.unrecorded_change.map(|c| c.sensor), "out-life-sensor"),
            (v.unrecorded_change.map(|c| c.filter), "out-life-filter"),
        ] {
            if let Some(p) = p.filter(|p| *p >= 0.15) {
                out.push(say_with(id, &args! { "p" => of_100(p) }));
            }
        }
        if let Some(p) = v.regeneration_complete {
            out.push(say_with("out-life-burn", &args! { "p" => of_100(p) }));
        }
    }
    out
}

/// A burn in one line.
pub fn burn(b: &outlook::SeenBurn) -> String {
    let minutes = |s: f64| number(s / 60.0, 1);
    let mut signs = vec![say_with("burn-hot", &args! { "minutes" => number(b.hot_minutes, 1) })];
    signs.extend(b.peak_degc.map(|t| say_with("burn-peak", &args! { "degc" => number(t, 0) })));
    signs.extend(b.signs.iter().map(|s| s.text.clone()));
    if let Some((low, high)) = b.burnt_share.and_then(|s| s.p05.zip(s.p95)) {
        signs.push(say_with(
            "burn-share",
            &args! { "p05" => number(100.0 * low, 0), "p95" => number(100.0 * high, 0) },
        ));
    }
    say_with(
        "burn-line",
        &args! {
            "file" => b.file.clone(),
            "from" => minutes(b.start_s),
            "to" => minutes(b.end_s),
            "end" => say(&format!("burn-{}", b.end)),
            "reported" => if b.reported { String::new() } else { say("burn-by-heat") },
            "signs" => signs.join(" "),
        },
    )
}

/// Adds the windows to the reserve, or says why none is shown.
fn to_the_reserve(b: &Balance, rows: &mut Vec<Vec<String>>) -> Option<String> {
    let [from, ..] = window_digits(b.due_km);
    match infer::due::says(b.due_km) {
        Says::Window => {
            rows.push(window_row("row-due-km", b.due_km, "km"));
            rows.push(window_row("row-due-days", b.due_days, "d"));
            None
        }
        Says::NotBefore => Some(say_with("note-due-not-before", &args! { "from" => from })),
        Says::Nothing => Some(say("note-due-nothing")),
    }
}

/// Ash to come in sentences.
pub fn ash(a: &Assessment) -> Vec<String> {
    let x = &a.ash;
    let mut out = Vec::new();
    if x.told {
        let [from, due, to] = window_digits(x.due_km);
        let [low, growth, high] = x.growth_g_per_1000km;
        let d = decimals_for(high - low, 2);
        let says = infer::due::says(x.due_km);
        let id = match says {
            _ if x.due_km.p50 <= 0.0 => "ash-due-now",
            Says::Window => "ash-due",
            Says::NotBefore => "ash-due-not-before",
            Says::Nothing => "ash-due-nothing",
        };
        out.push(say_with(
            id,
            &args! {
                "growth" => digits(growth, d),
                "growth-from" => digits(low, d),
                "growth-to" => digits(high, d),
                "due" => due,
                "due-from" => from,
                "due-to" => to,
                "low" => number(x.limit_g_per_l.0, 0),
                "high" => number(x.limit_g_per_l.1, 0),
            },
        ));
        if let Some(o) = x.due_odometer_km.filter(|_| x.due_km.p50 > 0.0 && says == Says::Window) {
            let [from, due, to] = window_digits(o);
            out.push(say_with(
                "ash-due-odometer",
                &args! { "due" => due, "due-from" => from, "due-to" => to },
            ));
        }
        let [low, mid, high] = x.plug_length_share.map(|s| number(100.0 * s, 0));
        out.push(say_with("ash-plug", &args! { "p50" => mid, "p05" => low, "p95" => high }));
        if x.beyond_distance > 0.3 {
            out.push(say_with("ash-odd", &args! { "percent" => of_100(x.beyond_distance) }));
        }
    }
    for c in &x.cleanings {
        out.push(say_with(
            "ash-cleaned",
            &args! {
                "km" => c.odometer_km.map_or_else(|| "?".to_owned(), |k| digits(k, 0)),
                "grams" => number(c.removed_g.0, 0),
                "u" => number(2.0 * c.removed_g.1, 0),
            },
        ));
        if let Some((e, g)) = c.expected_g.zip(c.growth_g_per_1000km) {
            out.push(say_with(
                "ash-cleaned-expected",
                &args! { "from" => number(e[0], 0), "to" => number(e[2], 0), "growth" => number(g, 2) },
            ));
        }
    }
    out
}

/// Fuel in the oil in a sentence.
pub fn fuel_in_oil(a: &Assessment) -> Option<String> {
    let x = a.fuel_in_oil?;
    let [low, mid, high] = x.percent;
    let d = decimals_for(high - low, 2);
    Some(say_with(
        if x.change_told { "oil-fuel" } else { "oil-fuel-open" },
        &args! {
            "p50" => digits(mid, d),
            "p05" => digits(low, d),
            "p95" => digits(high, d),
            "attempts" => number(x.attempts, 0),
            "km" => number(x.since_km, 0),
            "limit" => number(infer::dilution::ACT_PERCENT, 0),
            "percent" => of_100(x.above),
        },
    ))
}

/// A reading that could be made next, in a sentence.
pub fn next_reading(r: &infer::information::NextReading, knowledge: &facts::Knowledge) -> String {
    let narrows: Vec<String> = r
        .narrows
        .iter()
        .map(|&(f, share)| {
            let figure = say(match f {
                Figure::Soot => "figure-soot",
                Figure::Ash => "figure-ash",
                Figure::Zero => "figure-zero",
                Figure::Sensor => "figure-sensor",
                Figure::Additive => "figure-additive",
            });
            say_with("next-narrows", &args! { "figure" => figure, "percent" => number(100.0 * share, 0) })
        })
        .collect();
    let mut said = say_with(
        "next-reading",
        &args! {
            "what" => words().text(&r.what, knowledge),
            "minutes" => number(r.minutes, 0),
            "narrows" => narrows.join(", "),
        },
    );
    if !r.first.is_empty() {
        let list: Vec<String> = r.first.iter().map(|t| within(&words().text(t, knowledge))).collect();
        said.push_str(". ");
        said.push_str(&say_with("next-first", &args! { "list" => list.join("; ") }));
    }
    said
}

/// Faults worth a line of their own.
pub fn likely<T: Copy>(faults: &[(T, f64)]) -> Vec<(T, f64)> {
    faults.iter().copied().take(SHOWN_MOST).filter(|f| f.1 >= SHOWN_FROM).collect()
}

/// A missing fact in one sentence.
pub fn missing(m: &infer::assessment::MissingFact) -> String {
    say_with(
        "fact-narrows",
        &args! {
            "what" => output::fact_in_words(m.key),
            "key" => m.key,
            "percent" => number(100.0 * m.shrinks, 0),
            "figure" => say(&format!("figure-{}", m.figure)),
        },
    )
}

/// A problem with its place in front.
pub fn place_and_what(p: &output::Problem) -> String {
    let place = match (&p.file, p.line, p.byte) {
        (Some(file), Some(line), _) => format!("{file}:{line}: "),
        (Some(file), None, Some(byte)) => format!("{file}, byte {byte}: "),
        _ => String::new(),
    };
    format!("{place}{}", p.what)
}

fn section(page: &mut Page, head: &str, items: impl Iterator<Item = String>) {
    let mut items = items.peekable();
    if items.peek().is_some() {
        page.heading(&say(head));
        // A broken recording may have a thousand problems; the rest stands in the JSON.
        let mut left = 0;
        for (i, item) in items.enumerate() {
            if i < 12 { page.item(&item) } else { left += 1 }
        }
        if left > 0 {
            page.line(&say_with("decode-more", &args! { "count" => left }));
        }
    }
}

/// The balance alone.
pub fn balance(b: &Balance, inputs: &Inputs) -> String {
    let knowledge = inputs.knowledge();
    let mut page = Page::default();
    let mut faults = b.additive_faults.clone();
    faults.sort_by(|a, b| b.1.total_cmp(&a.1));
    if let Some((fault, p)) = faults.first() {
        let id = match (b.faults_told, *p >= 0.5) {
            (true, true) => "plain-fault-found",
            (true, false) => "plain-fault-likeliest",
            (false, _) => "plain-fault-open",
        };
        let set = fault.map_or_else(|| say("balance-none"), |f| within(&knowledge.fault(f).label));
        page.strong(&say_with(id, &args! { "set" => set, "percent" => of_100(*p) }));
    }
    let left = b.left_l;
    page.strong(&if left.told {
        say_with(
            match infer::due::says(b.due_km) {
                Says::Window => "plain-additive-left",
                _ => "plain-additive-left-only",
            },
            &args! {
                "p50" => number(left.p50, 2),
                "p05" => number(left.p05, 2),
                "p95" => number(left.p95, 2),
                "due" => window_digits(b.due_km)[1].clone(),
            },
        )
    } else {
        say_with("plain-additive-open", &args! { "p05" => number(left.p05, 2), "p95" => number(left.p95, 2) })
    });
    page.heading(&say("head-figures"));
    let mut rows = figure_rows(&balance_figures(b));
    let wide = if left.told { to_the_reserve(b, &mut rows) } else { None };
    page.table(&figure_header(), &rows, &[1]);
    page.line(&wide.unwrap_or_else(|| say_with("note-due", &args! { "reserve" => number(b.reserve_l, 2) })));
    page.heading(&say("head-additive"));
    page.table(&figure_header(), &waterfall_rows(b), &[1]);
    page.heading(&say("head-additive-faults"));
    page.line(&say(if b.faults_told { "head-faults-told" } else { "head-faults-open" }));
    let rows: Vec<Vec<String>> = likely(&faults)
        .iter()
        .map(|&(f, p)| {
            let label = f.map_or_else(|| within(&say("none-fault")), |f| within(&knowledge.fault(f).label));
            let repair = f.map_or_else(String::new, |f| knowledge.fault(f).repair.action.clone());
            vec![of_100(p), label, repair]
        })
        .collect();
    page.table(&["col-of-100", "col-fault", "col-repair"].map(say), &rows, &[0]);
    cannot_tell(&mut page, &output::open_questions(&b.cannot_tell, knowledge));
    section(
        &mut page,
        "head-cautions",
        ["caution-two-fluids", "caution-no-flame", "caution-lift", "caution-maker-first"]
            .iter()
            .map(|id| say(id)),
    );
    section(&mut page, "head-problems", inputs.problems.iter().map(place_and_what));
    page.finish()
}
