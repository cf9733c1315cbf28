//! Cases of a folder: found, read, and filled in from the workshop's own car types. A broken case is listed, not fatal.

use crate::args;
use crate::failure::Failure;
use crate::inputs::read_text;
use crate::output::Input;
use crate::words::{say, say_with};
use additive::reservoir::Reservoirs;
use facts::case::{Case, ReservoirKind};
use std::path::{Path, PathBuf};

/// One case.
pub struct Found {
    /// Its file.
    pub file: String,
    /// What people call it: the title, else the name of its file or folder.
    pub car: String,
    /// The facts.
    pub case: Case,
}

/// All cases below the paths, and what could not be read.
pub struct Cases {
    /// Readable cases in the order of their paths.
    pub cases: Vec<Found>,
    /// (file, why) of the others.
    pub broken: Vec<(String, String)>,
    /// Files with their hashes.
    pub inputs: Vec<Input>,
}

/// How deep folders are searched.
const DEPTH: usize = 4;

fn walk(path: &Path, depth: usize, out: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let shown = path.display().to_string();
    let entries = std::fs::read_dir(path).map_err(|e| Failure::read(&shown, &e))?;
    for entry in entries.filter_map(Result::ok) {
        let path = entry.path();
        // Links are not followed: a folder may hold a link to itself.
        let kind = entry.file_type().ok();
        if kind.is_some_and(|k| k.is_dir()) && depth > 0 {
            walk(&path, depth - 1, out)?;
        } else if path.extension().is_some_and(|e| e == "toml") {
            out.push(path);
        }
    }
    Ok(())
}

/// True when a text says that it is something else than a case (knowledge, fluids, a shelf).
fn other_format(text: &str) -> bool {
    toml::from_str::<toml::Table>(text).is_ok_and(|t| {
        t.get("schema").and_then(toml::Value::as_str).is_some_and(|s| !s.starts_with("sootwright.case/"))
    })
}

/// Reads the cases; folders are searched for TOML files of the case format.
pub fn read(paths: &[PathBuf], types: &Reservoirs) -> Result<Cases, Failure> {
    let mut files = Vec::new();
    for path in paths {
        if path.is_dir() {
            walk(path, DEPTH, &mut files)?;
        } else {
            files.push(path.clone());
        }
    }
    files.sort();
    files.dedup();
    let mut out = Cases { cases: Vec::new(), broken: Vec::new(), inputs: Vec::new() };
    for path in &files {
        let file = path.display().to_string();
        let (text, blake3) = match read_text(path) {
            Ok(read) => read,
            Err(e) => {
                out.broken.push((file, e.to_string()));
                continue;
            }
        };
        if other_format(&text) {
            continue;
        }
        out.inputs.push(Input { path: file.clone(), kind: "case".into(), blake3 });
        match facts::load::read_case(&text, &file) {
            Ok(loaded) => {
                let mut case = loaded.case;
                if let Err(why) = fill_in(&mut case, types) {
                    out.broken.push((file, why));
                    continue;
                }
                let car = name(&case, path);
                out.cases.push(Found { file, car, case });
            }
            Err(findings) => out.broken.push((file, findings.to_string())),
        }
    }
    if out.cases.is_empty() && out.broken.is_empty() {
        return Err(Failure::Refused(say("error-no-cases")));
    }
    Ok(out)
}

fn name(case: &Case, path: &Path) -> String {
    let of = |p: Option<&std::ffi::OsStr>| p.map(|n| n.to_string_lossy().into_owned());
    let stem = of(path.file_stem()).unwrap_or_default();
    let folder = || of(path.parent().and_then(Path::file_name));
    case.title
        .clone()
        .filter(|t| !t.trim().is_empty())
        .unwrap_or_else(|| if stem == "case" { folder().unwrap_or(stem) } else { stem })
}

/// A band is a figure when its limits lie within a tenth of each other.
fn figure(band: Option<&additive::fluid::Band>) -> Option<f64> {
    band.filter(|b| b.high > 0.0 && b.high - b.low <= 0.1 * b.high).map(|b| 0.5 * (b.low + b.high))
}

/// Fills in what a case leaves out from the row its `car_type` names. What the case says stands.
pub fn fill_in(case: &mut Case, types: &Reservoirs) -> Result<(), String> {
    let r = &mut case.reservoir;
    let Some(id) = &r.car_type else { return Ok(()) };
    let row = types.get(id).map_err(|e| say_with("error-car-type", &args! { "why" => e.to_string() }))?;
    r.capacity_l = r.capacity_l.or_else(|| figure(row.capacity_l.as_ref()));
    r.reserve_l = r.reserve_l.or_else(|| figure(row.low_message_l.as_ref()));
    if r.dose_ml_per_l.is_none() && r.dose_mg_per_kg.is_none() {
        r.dose_ml_per_l = figure(row.volume_dose_ml_per_l.as_ref());
        r.dose_mg_per_kg = figure(row.metal_dose_mg_per_kg.as_ref());
    }
    r.fluid = r.fluid.clone().or_else(|| row.fluid.clone());
    if r.kind.is_none() {
        r.kind = row.rigid.map(|rigid| if rigid { ReservoirKind::Tank } else { ReservoirKind::Pouch });
    }
    Ok(())
}
