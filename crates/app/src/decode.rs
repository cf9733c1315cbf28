//! `sootwright decode`: what is inside a recording.

use crate::cli::Decode;
use crate::failure::{Failure, Outcome};
use crate::output::{Input, Problem, Program};
use crate::words::{digits, number, say, say_with};
use crate::{args, now, print, print_json, text};
use recording::{CodeMemory, Recording, Signal};
use serde::Serialize;

/// The value of `schema` that this version writes.
const SCHEMA: &str = "sootwright.recording/1";
/// Notes and problems shown one by one.
const SHOWN: usize = 20;

/// What recordings hold.
#[derive(Serialize)]
struct Contents {
    schema: &'static str,
    program: Program,
    made_at: String,
    recordings: Vec<Content>,
}

/// What one recording holds.
#[derive(Serialize)]
struct Content {
    input: Input,
    format: String,
    duration_s: f64,
    begins: Option<String>,
    counts: Counts,
    vin: Option<String>,
    signals: Vec<Contained>,
    trouble_codes: Vec<Code>,
    notes: Vec<Note>,
    problems: Vec<Problem>,
}

#[derive(Serialize)]
struct Counts {
    bytes: u64,
    lines: u64,
    frames: u64,
    ids: u64,
    fd_frames: u64,
    remote_frames: u64,
    error_frames: u64,
    rows: u64,
    messages: u64,
    transport_errors: u64,
    pending_responses: u64,
    absent_values: u64,
    lost_lines: u64,
}

#[derive(Serialize)]
struct Contained {
    name: &'static str,
    unit: &'static str,
    instance: u8,
    source: String,
    samples: usize,
    per_second: Option<f64>,
    smallest: Option<f64>,
    largest: Option<f64>,
    resolution: f64,
    longest_gap_s: Option<f64>,
}

#[derive(Serialize)]
struct Code {
    code: String,
    memory: &'static str,
    source: String,
    status: Option<u8>,
    failure_type: Option<u8>,
    occurrences: Option<u8>,
    meaning: Option<&'static str>,
    first_s: f64,
    last_s: f64,
    reports: u64,
}

#[derive(Serialize)]
struct Note {
    time_s: Option<f64>,
    source: String,
    kind: String,
    text: String,
}

/// Runs the command. A file that cannot be opened, or of which no frame and no row could be read, is refused after
/// all were listed.
pub fn run(order: &Decode) -> Result<Outcome, Failure> {
    let mut refused = Vec::new();
    let mut list = Vec::new();
    for path in &order.files {
        let name = path.display().to_string();
        match std::fs::read(path) {
            Ok(bytes) => {
                let input = Input {
                    path: name.clone(),
                    kind: "recording".into(),
                    blake3: blake3::hash(&bytes).to_hex().to_string(),
                };
                list.push(content(
                    input,
                    &recording::read_bytes(&name, &bytes, &recording::Options::default()),
                ));
            }
            Err(e) => refused.push(Failure::read(&name, &e).to_string()),
        }
    }
    let contents = Contents { schema: SCHEMA, program: Program::this(), made_at: now(), recordings: list };
    if order.json {
        print_json(&contents)?;
    } else {
        let pages: Vec<String> = contents.recordings.iter().map(shown).collect();
        print(&pages.join("\n"))?;
    }
    for r in contents.recordings.iter().filter(|r| r.counts.frames + r.counts.rows == 0) {
        refused.extend(r.problems.first().map(text::place_and_what));
    }
    if refused.is_empty() { Ok(Outcome::Answered) } else { Err(Failure::Refused(refused.join("\n"))) }
}

fn content(input: Input, r: &Recording) -> Content {
    let c = &r.counts;
    let begins = r.start_epoch_s.and_then(|s| jiff::Timestamp::from_second(s as i64).ok());
    Content {
        input,
        format: r.format.to_string(),
        duration_s: r.duration_s,
        begins: begins.map(|t| t.to_string()),
        counts: Counts {
            bytes: c.bytes,
            lines: c.lines,
            frames: c.frames,
            ids: c.ids,
            fd_frames: c.fd_frames,
            remote_frames: c.remote_frames,
            error_frames: c.error_frames,
            rows: c.rows,
            messages: c.messages,
            transport_errors: c.transport_errors,
            pending_responses: c.pending_responses,
            absent_values: c.absent_values,
            lost_lines: c.lost_lines,
        },
        vin: r.vin.clone(),
        signals: r.signals.iter().map(contained).collect(),
        trouble_codes: r
            .trouble_codes
            .iter()
            .map(|t| Code {
                code: t.code.clone(),
                memory: memory(t.memory),
                source: t.source.clone(),
                status: t.status,
                failure_type: t.failure_type,
                occurrences: t.occurrences,
                meaning: t.meaning,
                first_s: t.first_s,
                last_s: t.last_s,
                reports: t.reports,
            })
            .collect(),
        notes: r
            .notes
            .iter()
            .map(|n| Note {
                time_s: n.time_s,
                source: n.source.clone(),
                kind: snake(&format!("{:?}", n.kind)),
                text: n.text.clone(),
            })
            .collect(),
        problems: r
            .problems
            .iter()
            .map(|p| Problem {
                file: Some(p.file.clone()),
                line: p.line,
                byte: p.byte,
                what: format!("{}; {}", p.what, p.what_to_do),
            })
            .collect(),
    }
}

fn contained(s: &Signal) -> Contained {
    let span = s.time_s.last().zip(s.time_s.first()).map(|(b, a)| b - a).filter(|d| *d > 0.0);
    let bound = |pick: fn(f64, f64) -> f64| s.value.iter().copied().reduce(pick);
    let gap =
        s.time_s.windows(2).filter_map(|w| w.last().zip(w.first()).map(|(b, a)| b - a)).reduce(f64::max);
    Contained {
        name: s.quantity.name(),
        unit: s.quantity.unit(),
        instance: s.instance,
        source: s.source.clone(),
        samples: s.value.len(),
        per_second: span.map(|d| (s.value.len().saturating_sub(1)) as f64 / d),
        smallest: bound(f64::min),
        largest: bound(f64::max),
        resolution: s.resolution,
        longest_gap_s: gap,
    }
}

fn memory(m: CodeMemory) -> &'static str {
    match m {
        CodeMemory::Stored => "stored",
        CodeMemory::Pending => "pending",
        CodeMemory::Permanent => "permanent",
        CodeMemory::FreezeFrame => "freeze-frame",
        CodeMemory::Uds => "uds",
        CodeMemory::Active => "active",
        CodeMemory::PreviouslyActive => "previously-active",
        _ => "other",
    }
}

/// `ChangingRequest` as `changing_request`.
fn snake(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.extend(c.to_lowercase());
    }
    out
}

/// Seconds as minutes and hours where that reads better.
fn duration(s: f64) -> String {
    match s {
        s if s < 120.0 => format!("{} s", digits(s, 1)),
        s if s < 7200.0 => format!("{} min", digits(s / 60.0, 1)),
        s => format!("{} h", digits(s / 3600.0, 1)),
    }
}

/// A number of unknown size with four figures.
fn four_figures(x: f64) -> String {
    let decimals = if x == 0.0 { 0.0 } else { (3.0 - x.abs().log10().floor()).clamp(0.0, 6.0) };
    let text = digits(x, decimals as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn shown(c: &Content) -> String {
    let mut page = text::Page::default();
    let n = &c.counts;
    page.strong(&say_with(
        "decode-file",
        &args! { "file" => c.input.path.clone(), "format" => c.format.clone() },
    ));
    let counts = args! {
        "duration" => duration(c.duration_s),
        "frames" => n.frames,
        "ids" => n.ids,
        "messages" => n.messages,
        "rows" => n.rows,
        "lines" => n.lines,
    };
    page.line(&say_with(if n.rows > 0 { "decode-counts-rows" } else { "decode-counts-frames" }, &counts));
    if let Some(t) = &c.begins {
        page.line(&say_with("decode-begins", &args! { "time" => t.clone() }));
    }
    if n.lost_lines + n.transport_errors + n.absent_values > 0 {
        page.line(&say_with(
            "decode-lost",
            &args! { "lost" => n.lost_lines, "transport" => n.transport_errors, "absent" => n.absent_values },
        ));
    }
    if let Some(vin) = &c.vin {
        page.line(&say_with("decode-vin", &args! { "vin" => vin.clone() }));
    }
    page.heading(&say("decode-signals"));
    if c.signals.is_empty() {
        page.line(&say("decode-no-signals"));
    }
    let header = [
        "col-signal",
        "col-unit",
        "col-source",
        "col-count",
        "col-rate",
        "col-smallest",
        "col-largest",
        "col-gap",
    ];
    let cell = |x: Option<f64>| x.map_or_else(String::new, four_figures);
    let rows: Vec<Vec<String>> = c
        .signals
        .iter()
        .map(|s| {
            let instance = if s.instance > 0 { format!(" #{}", s.instance) } else { String::new() };
            vec![
                format!("{}{instance}", s.name.replace('_', " ")),
                s.unit.to_owned(),
                s.source.clone(),
                s.samples.to_string(),
                s.per_second.map_or_else(String::new, |r| digits(r, if r < 10.0 { 2 } else { 0 })),
                cell(s.smallest),
                cell(s.largest),
                s.longest_gap_s.map_or_else(String::new, |g| digits(g, if g < 10.0 { 2 } else { 0 })),
            ]
        })
        .collect();
    page.table(&header.map(say), &rows, &[3, 4, 5, 6, 7]);

    if !c.trouble_codes.is_empty() {
        page.heading(&say("decode-codes"));
        let rows: Vec<Vec<String>> = c
            .trouble_codes
            .iter()
            .map(|t| {
                let status = t.status.map_or_else(String::new, |s| format!("{s:02X}"));
                let failure = t.failure_type.map_or_else(String::new, |f| format!("-{f:02X}"));
                vec![
                    format!("{}{failure}", t.code),
                    say_with(&format!("memory-{}", t.memory), &args! { "status" => status }),
                    t.source.clone(),
                    t.meaning.map_or_else(|| say("meaning-unknown"), str::to_owned),
                ]
            })
            .collect();
        page.table(&["col-code", "col-memory", "col-source", "col-meaning"].map(say), &rows, &[]);
    }
    let notes: Vec<String> = c
        .notes
        .iter()
        .map(|n| {
            let time = n.time_s.map_or_else(String::new, |t| format!("{} s, ", digits(t, 1)));
            format!("{time}{}: {}", n.source, n.text)
        })
        .collect();
    listed(&mut page, "decode-notes", &notes);
    let problems: Vec<String> = c.problems.iter().map(text::place_and_what).collect();
    listed(&mut page, "decode-problems", &problems);
    page.finish()
}

fn listed(page: &mut text::Page, head: &str, items: &[String]) {
    if items.is_empty() {
        return;
    }
    page.heading(&say(head));
    for item in items.iter().take(SHOWN) {
        page.item(item);
    }
    if items.len() > SHOWN {
        page.line(&say_with("decode-more", &args! { "count" => number((items.len() - SHOWN) as f64, 0) }));
    }
}
