//! What goes in: a case file, the recordings it names, and knowledge, each with its hash.

use crate::args;
use crate::failure::Failure;
use crate::output::{Input, Problem};
use crate::words::say_with;
use facts::Knowledge;
use facts::case::Case;
use recording::Recording;
use shop::Procedures;
use std::borrow::Cow;
use std::path::{Path, PathBuf};

/// Everything an assessment is made from.
pub struct Inputs {
    /// The facts as they stand at the last visit.
    pub case: Case,
    /// One entry for each row of `case.recording`; none where the file could not be opened.
    pub recordings: Vec<Option<Recording>>,
    /// Facts and recordings of the visits before, earliest first.
    pub earlier: Vec<(Case, Vec<Option<Recording>>)>,
    knowledge: Cow<'static, Knowledge>,
    /// Files with their hashes.
    pub list: Vec<Input>,
    /// What could not be read, and what is worth a second look.
    pub problems: Vec<Problem>,
}

/// Hexadecimal BLAKE3 of bytes.
fn hash(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

/// Reads a text file; bytes that are no UTF-8 are refused with their line.
pub fn read_text(path: &Path) -> Result<(String, String), Failure> {
    let shown = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| Failure::read(&shown, &e))?;
    let hash = hash(&bytes);
    match String::from_utf8(bytes) {
        Ok(text) => Ok((text, hash)),
        Err(e) => {
            let good = e.utf8_error().valid_up_to();
            let line = 1 + e.as_bytes().iter().take(good).filter(|b| **b == b'\n').count();
            Err(Failure::not_text(&shown, line))
        }
    }
}

/// A case file as read: its facts, where it lies, and what was unusual.
struct File {
    /// Folder that its recordings stand relative to.
    folder: PathBuf,
    loaded: facts::load::Loaded,
}

impl Inputs {
    /// Reads a case file or a folder of dated case files of one car, with everything they name. A recording that
    /// cannot be opened is a problem, not a refusal.
    pub fn read(case_path: &Path, knowledge_folder: Option<&Path>) -> Result<Self, Failure> {
        let mut list = Vec::new();
        let mut problems = Vec::new();
        let (knowledge, knowledge_inputs) = read_knowledge(knowledge_folder)?;
        let mut files = Vec::new();
        for path in case_files(case_path)? {
            let shown = path.display().to_string();
            let (text, case_hash) = read_text(&path)?;
            let mut loaded = facts::load::read_case(&text, &shown).map_err(Failure::refused)?;
            if loaded.case.reservoir.car_type.is_some() {
                // The files of the folder are listed with the knowledge below.
                let types = crate::fluids::reservoirs(knowledge_folder, &mut Vec::new())?;
                crate::fluids::fill_in(&mut loaded.case, &types).map_err(Failure::Refused)?;
            }
            list.push(Input { path: shown, kind: "case".into(), blake3: case_hash });
            problems.extend(loaded.warnings.iter().map(finding));
            problems.extend(facts::load::unknown_observations(&loaded, &knowledge).iter().map(finding));
            files.push(File { folder: path.parent().map_or_else(PathBuf::new, Path::to_path_buf), loaded });
        }
        let (case, folder) = together(case_path, files, &mut problems)?;
        let mut visits: Vec<(Case, Vec<Option<Recording>>)> = facts::visits::of(&case)
            .into_iter()
            .map(|case| {
                let recordings = read_recordings(&case, &folder, &mut list, &mut problems);
                (case, recordings)
            })
            .collect();
        let (case, recordings) = visits.pop().unwrap_or_default();
        list.extend(knowledge_inputs);
        Ok(Self { case, recordings, earlier: visits, knowledge, list, problems })
    }

    /// The evidence of every visit, earliest first.
    pub fn visits(&self) -> Vec<infer::Evidence<'_>> {
        self.earlier
            .iter()
            .map(|(case, recordings)| (case, &recordings[..]))
            .chain(std::iter::once((&self.case, &self.recordings[..])))
            .map(|(case, recordings)| infer::Evidence { case, recordings, knowledge: self.knowledge() })
            .collect()
    }

    /// The knowledge in use.
    pub fn knowledge(&self) -> &Knowledge {
        &self.knowledge
    }
}

/// The case file itself, or those of a folder: `FOLDER/*.toml` and `FOLDER/*/case.toml`, by name.
fn case_files(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !path.is_dir() {
        return Ok(vec![path.to_path_buf()]);
    }
    let shown = path.display().to_string();
    let mut files = toml_files(path)?;
    let mut below: Vec<PathBuf> = std::fs::read_dir(path)
        .map_err(|e| Failure::read(&shown, &e))?
        .filter_map(Result::ok)
        .map(|e| e.path().join("case.toml"))
        .filter(|p| p.is_file())
        .collect();
    below.sort();
    files.extend(below);
    if files.is_empty() {
        return Err(Failure::Refused(say_with("error-no-cases", &args! { "path" => shown })));
    }
    Ok(files)
}

/// One case of all files, and the folder that its recordings stand relative to.
fn together(
    path: &Path,
    mut files: Vec<File>,
    problems: &mut Vec<Problem>,
) -> Result<(Case, PathBuf), Failure> {
    if files.len() == 1
        && let Some(File { folder, loaded }) = files.pop()
    {
        return Ok((loaded.case, folder));
    }
    let mut named = Vec::new();
    for File { folder, mut loaded } in files {
        // Recordings of all files from one place.
        let inside = folder.strip_prefix(path).unwrap_or(&folder);
        for row in &mut loaded.case.recording {
            row.file = inside.join(&row.file).display().to_string();
        }
        let name = loaded.places.file().to_owned();
        named.push((name, loaded.case));
    }
    let (case, warnings) =
        facts::visits::join(&path.display().to_string(), named).map_err(Failure::refused)?;
    problems.extend(warnings.iter().map(finding));
    Ok((case, path.to_path_buf()))
}

fn read_recordings(
    case: &Case,
    folder: &Path,
    list: &mut Vec<Input>,
    problems: &mut Vec<Problem>,
) -> Vec<Option<Recording>> {
    let mut recordings = Vec::new();
    for row in &case.recording {
        let path = folder.join(&row.file);
        let name = path.display().to_string();
        match std::fs::read(&path) {
            Ok(bytes) => {
                list.push(Input { path: name.clone(), kind: "recording".into(), blake3: hash(&bytes) });
                let options =
                    recording::Options { column_names: row.columns.clone(), ..recording::Options::default() };
                let recording = recording::read_bytes(&name, &bytes, &options);
                problems.extend(recording.problems.iter().map(|p| Problem {
                    file: Some(p.file.clone()),
                    line: p.line,
                    byte: p.byte,
                    what: format!("{}; {}", p.what, p.what_to_do),
                }));
                recordings.push(Some(recording));
            }
            Err(e) => {
                problems.push(Problem {
                    file: Some(name.clone()),
                    line: None,
                    byte: None,
                    what: Failure::read(&name, &e).to_string(),
                });
                recordings.push(None);
            }
        }
    }
    recordings
}

fn finding(f: &facts::finding::Finding) -> Problem {
    let what = if f.advice.is_empty() { f.what.clone() } else { format!("{}; {}", f.what, f.advice) };
    Problem { file: Some(f.file.clone()), line: Some(f.line as u64), byte: None, what }
}

/// The built-in knowledge with a folder of the workshop's own laid over it.
pub fn read_knowledge(folder: Option<&Path>) -> Result<(Cow<'static, Knowledge>, Vec<Input>), Failure> {
    let built_in = Input { path: "knowledge".into(), kind: "knowledge".into(), blake3: facts_hash() };
    let Some(folder) = folder else { return Ok((Cow::Borrowed(Knowledge::built_in()), vec![built_in])) };
    let knowledge = Knowledge::built_in().overlay_folder(folder).map_err(Failure::refused)?;
    let mut inputs = vec![built_in];
    for path in toml_files(folder)? {
        let bytes = std::fs::read(&path).map_err(|e| Failure::read(&path.display().to_string(), &e))?;
        inputs.push(Input {
            path: path.display().to_string(),
            kind: "knowledge".into(),
            blake3: hash(&bytes),
        });
    }
    Ok((Cow::Owned(knowledge), inputs))
}

/// The built-in procedures with those of a folder of the workshop's own laid over them.
pub fn read_procedures(folder: Option<&Path>) -> Result<Procedures, Failure> {
    let mut own = Vec::new();
    for path in folder.map(toml_files).transpose()?.unwrap_or_default() {
        let (text, _) = read_text(&path)?;
        if Procedures::is_ours(&text) {
            own.push((path.display().to_string(), text));
        }
    }
    let own: Vec<(&str, &str)> = own.iter().map(|(f, t)| (f.as_str(), t.as_str())).collect();
    Procedures::with(&own).map_err(|e| Failure::Refused(e.to_string()))
}

/// The TOML files of a folder in the order of their names.
pub fn toml_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let shown = folder.display().to_string();
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .map_err(|e| Failure::read(&shown, &e))?
        .filter_map(Result::ok)
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    Ok(files)
}

/// Hash of the knowledge this version was built with, over its files in the order of their names.
fn facts_hash() -> String {
    hash(
        concat!(
            include_str!("../../../knowledge/actions.toml"),
            include_str!("../../../knowledge/faults.toml"),
            include_str!("../../../knowledge/likelihoods.toml"),
            include_str!("../../../knowledge/observations.toml")
        )
        .as_bytes(),
    )
}
