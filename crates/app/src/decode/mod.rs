//! `sootwright decode`: what is inside a recording, and its samples as rows.

mod choice;
mod export;
#[cfg(feature = "parquet")]
mod parquet;
mod source;

use crate::cli::Decode;
use crate::failure::{Failure, Outcome};
use crate::output::{Input, Problem, Program};
use crate::words::{digits, number, say, say_with};
use crate::{args, now, print, print_json, text};
use choice::Choice;
use recording::quality::{self, DelayBasis, Stretch};
use recording::{CodeMemory, Options, Recording};
use serde::Serialize;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

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
    buses: Vec<Bus>,
    services: Vec<Service>,
    signals: Vec<Contained>,
    delays: Vec<Delay>,
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
struct Bus {
    name: String,
    frames: u64,
    identifiers: Vec<Identifier>,
}

#[derive(Serialize)]
struct Identifier {
    id: String,
    frames: u64,
    per_second: Option<f64>,
    shortest_bytes: u8,
    longest_bytes: u8,
}

#[derive(Serialize)]
struct Service {
    source: String,
    service: String,
    messages: u64,
    mean_answer_s: Option<f64>,
}

/// How late a source's values come.
#[derive(Serialize)]
struct Delay {
    source: String,
    delay_s: f64,
    uncertainty_s: f64,
    basis: &'static str,
}

/// From one second of the recording to another.
#[derive(Serialize)]
struct Span {
    from_s: f64,
    to_s: f64,
}

#[derive(Serialize)]
struct Contained {
    name: String,
    unit: String,
    instance: u8,
    source: String,
    samples: usize,
    per_second: Option<f64>,
    smallest: Option<f64>,
    largest: Option<f64>,
    resolution: f64,
    longest_gap_s: Option<f64>,
    dropouts: Vec<Span>,
    frozen: Vec<Span>,
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

/// Threads for so many inputs.
fn workers(inputs: usize) -> usize {
    std::thread::available_parallelism().map_or(1, usize::from).min(inputs.max(1))
}

/// The files meant: a folder stands for all files in it, at any depth, in order of their names.
fn expand(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    fn walk(folder: &Path, depth: usize, into: &mut Vec<PathBuf>) -> std::io::Result<()> {
        let mut entries: Vec<PathBuf> =
            std::fs::read_dir(folder)?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
        entries.sort();
        for path in entries {
            // A folder that links to itself must end somewhere.
            if path.is_dir() {
                if depth < 32 {
                    walk(&path, depth + 1, into)?;
                }
            } else {
                into.push(path);
            }
        }
        Ok(())
    }
    let mut files = Vec::new();
    for path in paths {
        if path.is_dir() {
            walk(path, 0, &mut files).map_err(|e| Failure::read(&path.display().to_string(), &e))?;
        } else {
            files.push(path.clone());
        }
    }
    Ok(files)
}

/// The reader's options: the descriptions the user brings.
fn options(order: &Decode) -> Result<Options, Failure> {
    let mut options = Options::default();
    for path in &order.dbc {
        let name = path.display().to_string();
        let text = std::fs::read(path).map_err(|e| Failure::read(&name, &e))?;
        options.descriptions.push((name, text));
    }
    Ok(options)
}

/// Runs the command. A file that cannot be opened, or of which no frame and no row could be read, is refused after
/// all were listed.
pub fn run(order: &Decode) -> Result<Outcome, Failure> {
    let files = expand(&order.files)?;
    let options = options(order)?;
    if let Some(form) = order.rows {
        return export::run(order, form, &files, &options);
    }
    let mut refused = Vec::new();
    let mut list = Vec::new();
    for result in listed_on_all_cores(order, &files, &options) {
        match result {
            Ok(content) => list.push(content),
            Err(e) => refused.push(e.to_string()),
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

fn listed_on_all_cores(
    order: &Decode,
    files: &[PathBuf],
    options: &Options,
) -> Vec<Result<Content, Failure>> {
    let choice = Choice::new(order);
    let total = files.iter().try_fold(0u64, |sum, f| std::fs::metadata(f).ok().map(|m| sum + m.len()));
    let bar = export::bar(total);
    let next = AtomicUsize::new(0);
    let results = Mutex::new(Vec::new());
    let work = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(path) = files.get(i) else { return };
            let found = list_one(path, &choice, options, &bar);
            if let Ok(mut list) = results.lock() {
                list.push((i, found));
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..workers(files.len()) {
            scope.spawn(work);
        }
    });
    bar.finish_and_clear();
    let mut list = results.into_inner().unwrap_or_default();
    list.sort_by_key(|(i, _)| *i);
    list.into_iter().map(|(_, found)| found).collect()
}

fn list_one(
    path: &Path,
    choice: &Choice,
    options: &Options,
    bar: &indicatif::ProgressBar,
) -> Result<Content, Failure> {
    let (recording, blake3) = source::read_chosen(path, options, bar, choice)?;
    let input = Input { path: source::name(path), kind: "recording".into(), blake3 };
    Ok(content(input, &recording))
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
        buses: buses(r),
        services: r
            .services
            .iter()
            .map(|s| Service {
                source: s.source.clone(),
                service: format!("{:02X}", s.service),
                messages: s.messages,
                mean_answer_s: s.mean_answer_s,
            })
            .collect(),
        signals: signals(r),
        delays: quality::delays(r)
            .into_iter()
            .filter(|d| d.uncertainty_s.is_finite())
            .map(|d| Delay {
                source: d.source,
                delay_s: d.delay_s,
                uncertainty_s: d.uncertainty_s,
                basis: match d.basis {
                    DelayBasis::Answer => "answer",
                    DelayBasis::Broadcast => "broadcast",
                    DelayBasis::Alignment => "alignment",
                    _ => "unknown",
                },
            })
            .collect(),
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

fn buses(r: &Recording) -> Vec<Bus> {
    let of = |n: usize| {
        let list: Vec<Identifier> = r
            .identifiers
            .iter()
            .filter(|i| usize::from(i.bus) == n)
            .map(|i| Identifier {
                id: if i.extended { format!("{:08X}", i.id) } else { format!("{:03X}", i.id) },
                frames: i.frames,
                per_second: (i.frames > 1 && i.last_s > i.first_s)
                    .then(|| (i.frames - 1) as f64 / (i.last_s - i.first_s)),
                shortest_bytes: i.shortest,
                longest_bytes: i.longest,
            })
            .collect();
        (list.iter().map(|i| i.frames).sum(), list)
    };
    r.buses
        .iter()
        .enumerate()
        .map(|(n, name)| {
            let (frames, identifiers) = of(n);
            Bus { name: name.clone(), frames, identifiers }
        })
        .collect()
}

fn signals(r: &Recording) -> Vec<Contained> {
    let spans = |list: Vec<Stretch>| list.iter().map(|s| Span { from_s: s.from_s, to_s: s.to_s }).collect();
    let own = r.signals.iter().map(|s| {
        let quality = quality::quality(s, r);
        Contained {
            instance: s.instance,
            source: s.source.clone(),
            resolution: s.resolution,
            dropouts: spans(quality.dropouts),
            frozen: spans(quality.frozen),
            ..contained(s.quantity.name(), s.quantity.unit(), &s.time_s, &s.value)
        }
    });
    let named = r.named.iter().map(|s| Contained {
        source: s.source.clone(),
        resolution: s.resolution,
        ..contained(&s.name, &s.unit, &s.time_s, &s.value)
    });
    own.chain(named).collect()
}

fn contained(name: &str, unit: &str, time_s: &[f64], value: &[f64]) -> Contained {
    let span = time_s.last().zip(time_s.first()).map(|(b, a)| b - a).filter(|d| *d > 0.0);
    let bound = |pick: fn(f64, f64) -> f64| value.iter().copied().reduce(pick);
    let gap = time_s.windows(2).filter_map(|w| w.last().zip(w.first()).map(|(b, a)| b - a)).reduce(f64::max);
    Contained {
        name: name.to_owned(),
        unit: unit.to_owned(),
        instance: 0,
        source: String::new(),
        samples: value.len(),
        per_second: span.map(|d| (value.len().saturating_sub(1)) as f64 / d),
        smallest: bound(f64::min),
        largest: bound(f64::max),
        resolution: 0.0,
        longest_gap_s: gap,
        dropouts: Vec::new(),
        frozen: Vec::new(),
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
    traffic(&mut page, c);
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
    // A column only where there is something to mind: names need the room.
    let mind = c.signals.iter().any(|s| !trust(s).is_empty());
    let mut header: Vec<String> = header.map(say).to_vec();
    header.extend(mind.then(|| say("col-quality")));
    let cell = |x: Option<f64>| x.map_or_else(String::new, four_figures);
    let rows: Vec<Vec<String>> = c
        .signals
        .iter()
        .map(|s| {
            let instance = if s.instance > 0 { format!(" #{}", s.instance) } else { String::new() };
            vec![
                format!("{}{instance}", s.name.replace('_', " ")),
                s.unit.clone(),
                s.source.clone(),
                s.samples.to_string(),
                s.per_second.map_or_else(String::new, |r| digits(r, if r < 10.0 { 2 } else { 0 })),
                cell(s.smallest),
                cell(s.largest),
                s.longest_gap_s.map_or_else(String::new, |g| digits(g, if g < 10.0 { 2 } else { 0 })),
            ]
            .into_iter()
            .chain(mind.then(|| trust(s)))
            .collect()
        })
        .collect();
    page.table(&header, &rows, &[3, 4, 5, 6, 7]);

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
    listed(&mut page, "decode-problems", &alike(&c.problems));
    page.finish()
}

/// Problems as lines; those that say the same of other places stand in one.
fn alike(problems: &[Problem]) -> Vec<String> {
    let mut first: Vec<(&Problem, usize, &Problem)> = Vec::new();
    let mut places = HashMap::new();
    for problem in problems {
        let place = *places.entry(problem.what.as_str()).or_insert(first.len());
        match first.get_mut(place) {
            Some((_, count, last)) => (*count, *last) = (*count + 1, problem),
            None => first.push((problem, 1, problem)),
        }
    }
    let number = |p: &Problem| p.line.or(p.byte).unwrap_or(0);
    first
        .into_iter()
        .map(|(problem, count, last)| {
            let text = text::place_and_what(problem);
            if count == 1 {
                return text;
            }
            let which = if last.line.is_some() { "decode-again-lines" } else { "decode-again-bytes" };
            let more = say_with(which, &args! { "count" => count - 1, "last" => number(last).to_string() });
            format!("{text} ({more})")
        })
        .collect()
}

/// What keeps a signal from being taken as it stands.
fn trust(s: &Contained) -> String {
    let mut words = Vec::new();
    if !s.dropouts.is_empty() {
        words.push(say_with("decode-dropouts", &args! { "count" => s.dropouts.len() }));
    }
    if !s.frozen.is_empty() {
        let seconds: f64 = s.frozen.iter().map(|f| f.to_s - f.from_s).sum();
        words.push(say_with("decode-frozen", &args! { "seconds" => number(seconds, 0) }));
    }
    words.join(", ")
}

/// Buses, identifiers and services.
fn traffic(page: &mut text::Page, c: &Content) {
    if c.buses.is_empty() {
        return;
    }
    page.heading(&say("decode-traffic"));
    for bus in &c.buses {
        let busiest: Vec<String> = {
            let mut list: Vec<&Identifier> = bus.identifiers.iter().collect();
            list.sort_by_key(|i| std::cmp::Reverse(i.frames));
            list.iter().take(6).map(|i| format!("{} ({})", i.id, i.frames)).collect()
        };
        page.line(&say_with(
            "decode-bus",
            &args! {
                "bus" => bus.name.clone(),
                "frames" => bus.frames,
                "ids" => bus.identifiers.len(),
                "busiest" => busiest.join(", "),
            },
        ));
    }
    let services: Vec<String> =
        c.services.iter().map(|s| format!("{} {} ({})", s.source, s.service, s.messages)).collect();
    if !services.is_empty() {
        page.line(&say_with("decode-services", &args! { "list" => services.join(", ") }));
    }
    for d in &c.delays {
        page.line(&say_with(
            &format!("decode-delay-{}", d.basis),
            &args! {
                "source" => d.source.clone(),
                "delay" => digits(d.delay_s * 1000.0, 0),
                "uncertainty" => digits(d.uncertainty_s * 1000.0, 0),
            },
        ));
    }
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
