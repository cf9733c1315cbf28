//! Samples of recordings as tidy rows: one row a sample, in CSV, JSON lines or Parquet.

use super::choice::Choice;
use super::source;
use crate::cli::{Decode, Rows};
use crate::failure::{Failure, Outcome};
use indicatif::{ProgressBar, ProgressStyle};
use recording::{NamedSignal, Options, Piece, Recording, Signal};
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The columns of every form, in this order.
pub const COLUMNS: [&str; 7] = ["file", "source", "signal", "instance", "unit", "time_s", "value"];

/// A run of samples of one signal, ready to be written.
pub struct Run<'a> {
    pub file: &'a str,
    pub source: &'a str,
    pub signal: &'a str,
    pub instance: u8,
    pub unit: &'a str,
    pub time_s: &'a [f64],
    pub value: &'a [f64],
}

/// Writes runs in one form.
pub trait Sink {
    /// Writes the samples of one signal.
    fn run(&mut self, run: &Run<'_>) -> io::Result<()>;
    /// Says what an input was, once it is read.
    fn input(&mut self, _file: &str, _blake3: &str, _recording: &Recording) -> io::Result<()> {
        Ok(())
    }
    /// Ends the output.
    fn finish(self: Box<Self>) -> io::Result<()>;
}

struct Csv(csv::Writer<Box<dyn Write>>);

impl Sink for Csv {
    fn run(&mut self, run: &Run<'_>) -> io::Result<()> {
        let instance = run.instance.to_string();
        for (time, value) in run.time_s.iter().zip(run.value) {
            let numbers = [time.to_string(), value.to_string()];
            let [time, value] = &numbers;
            self.0.write_record([run.file, run.source, run.signal, &instance, run.unit, time, value])?;
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        self.0.flush()
    }
}

struct JsonLines(Box<dyn Write>);

impl Sink for JsonLines {
    fn run(&mut self, run: &Run<'_>) -> io::Result<()> {
        let text = |s: &str| serde_json::to_string(s).map_err(io::Error::other);
        let head = format!(
            "{{\"file\":{},\"source\":{},\"signal\":{},\"instance\":{},\"unit\":{}",
            text(run.file)?,
            text(run.source)?,
            text(run.signal)?,
            run.instance,
            text(run.unit)?
        );
        for (time, value) in run.time_s.iter().zip(run.value) {
            writeln!(self.0, "{head},\"time_s\":{time},\"value\":{value}}}")?;
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        self.0.flush()
    }
}

fn sink(form: Rows, out: Box<dyn Write + Send>) -> Result<Box<dyn Sink>, Failure> {
    match form {
        Rows::Csv => {
            let mut writer = csv::Writer::from_writer(out as Box<dyn Write>);
            writer.write_record(COLUMNS).map_err(|e| Failure::output(&e.into()))?;
            Ok(Box::new(Csv(writer)))
        }
        Rows::JsonLines => Ok(Box::new(JsonLines(out))),
        #[cfg(feature = "parquet")]
        Rows::Parquet => super::parquet::sink(out).map_err(|e| Failure::output(&e)),
        #[cfg(not(feature = "parquet"))]
        Rows::Parquet => Err(Failure::Usage(crate::words::say("error-no-parquet"))),
    }
}

/// A bar over bytes; it hides itself where no terminal shows it.
pub fn bar(bytes: Option<u64>) -> ProgressBar {
    let (bar, template) = match bytes {
        Some(n) => (ProgressBar::new(n), "{bar:30} {bytes}/{total_bytes} {eta}"),
        None => (ProgressBar::no_length(), "{bytes} {elapsed}"),
    };
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar
}

/// What became of one input.
struct Done {
    problems: Vec<String>,
    empty: bool,
}

/// Reads one input and writes its samples.
fn one(
    path: &Path,
    choice: &Choice,
    options: &Options,
    bar: &ProgressBar,
    sink: &mut dyn Sink,
) -> Result<Done, Failure> {
    let name = source::name(path);
    let (recording, hash) = source::read(path, options, bar, |piece| {
        write(&name, piece, choice, sink).map_err(|e| Failure::output(&e))
    })?;
    sink.input(&name, &hash, &recording).map_err(|e| Failure::output(&e))?;
    Ok(Done {
        problems: recording.problems.iter().map(ToString::to_string).collect(),
        empty: recording.counts.frames + recording.counts.rows == 0,
    })
}

fn write(file: &str, piece: Piece, choice: &Choice, sink: &mut dyn Sink) -> io::Result<()> {
    let Piece { signals, named, .. } = piece;
    for Signal { quantity, instance, source, time_s, value, .. } in &signals {
        if choice.takes(quantity.name()) {
            let (time_s, value) = choice.cut(time_s, value);
            let (signal, unit) = (quantity.name(), quantity.unit());
            sink.run(&Run { file, source, signal, instance: *instance, unit, time_s, value })?;
        }
    }
    for NamedSignal { name, unit, source, time_s, value, .. } in &named {
        if choice.takes(name) {
            let (time_s, value) = choice.cut(time_s, value);
            sink.run(&Run { file, source, signal: name, instance: 0, unit, time_s, value })?;
        }
    }
    Ok(())
}

/// Writes the samples of all inputs: to one place in the order given, or into a folder, a file for each, on all cores.
pub fn run(order: &Decode, form: Rows, files: &[PathBuf], options: &Options) -> Result<Outcome, Failure> {
    let choice = Choice::new(order);
    let total = files.iter().try_fold(0u64, |sum, f| std::fs::metadata(f).ok().map(|m| sum + m.len()));
    let bar = bar(total);
    let folder = order.out.as_deref().filter(|out| out.is_dir() || files.len() > 1);
    let results: Vec<Result<Done, Failure>> = match (folder, order.out.as_deref()) {
        (Some(folder), _) => into_folder(files, folder, form, &choice, options, &bar)?,
        (None, out) => {
            let out: Box<dyn Write + Send> = match out {
                Some(path) => Box::new(BufWriter::new(create(path)?)),
                None => Box::new(BufWriter::with_capacity(1 << 18, io::stdout())),
            };
            let mut sink = sink(form, out)?;
            let mut results = Vec::new();
            for path in files {
                let done = one(path, &choice, options, &bar, &mut *sink);
                let gone = matches!(done, Err(Failure::BrokenPipe));
                results.push(done);
                if gone {
                    return Err(Failure::BrokenPipe);
                }
            }
            sink.finish().map_err(|e| Failure::output(&e))?;
            results
        }
    };
    bar.finish_and_clear();
    let mut refused = Vec::new();
    for result in results {
        match result {
            Ok(done) => {
                for problem in &done.problems {
                    eprintln!("{problem}");
                }
                if done.empty {
                    refused.extend(done.problems.first().cloned());
                }
            }
            Err(Failure::BrokenPipe) => return Err(Failure::BrokenPipe),
            Err(e) => refused.push(e.to_string()),
        }
    }
    if refused.is_empty() { Ok(Outcome::Answered) } else { Err(Failure::Refused(refused.join("\n"))) }
}

fn create(path: &Path) -> Result<File, Failure> {
    File::create(path).map_err(|e| Failure::write(&path.display().to_string(), &e))
}

fn into_folder(
    files: &[PathBuf],
    folder: &Path,
    form: Rows,
    choice: &Choice,
    options: &Options,
    bar: &ProgressBar,
) -> Result<Vec<Result<Done, Failure>>, Failure> {
    std::fs::create_dir_all(folder).map_err(|e| Failure::write(&folder.display().to_string(), &e))?;
    let targets = targets(files, folder, form);
    let next = AtomicUsize::new(0);
    let results = Mutex::new(Vec::new());
    let work = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let (Some(path), Some(target)) = (files.get(i), targets.get(i)) else { return };
            let done = (|| {
                let mut sink = sink(form, Box::new(BufWriter::new(create(target)?)))?;
                let done = one(path, choice, options, bar, &mut *sink)?;
                sink.finish().map_err(|e| Failure::write(&target.display().to_string(), &e))?;
                Ok(done)
            })();
            if let Ok(mut list) = results.lock() {
                list.push((i, done));
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..super::workers(files.len()) {
            scope.spawn(work);
        }
    });
    let mut list = results.into_inner().unwrap_or_default();
    list.sort_by_key(|(i, _)| *i);
    Ok(list.into_iter().map(|(_, done)| done).collect())
}

/// One name for each input, none twice.
fn targets(files: &[PathBuf], folder: &Path, form: Rows) -> Vec<PathBuf> {
    let end = match form {
        Rows::Csv => "csv",
        Rows::JsonLines => "jsonl",
        Rows::Parquet => "parquet",
    };
    let mut taken = std::collections::BTreeSet::new();
    files
        .iter()
        .map(|path| {
            let stem = path.file_name().map_or("input".into(), |n| n.to_string_lossy());
            let mut name = format!("{stem}.{end}");
            let mut n = 2;
            while !taken.insert(name.clone()) {
                name = format!("{stem}-{n}.{end}");
                n += 1;
            }
            folder.join(name)
        })
        .collect()
}
