//! A case file with its recordings, read as the program reads it.

use crate::scoring;
use facts::case::{Case, Quantity};
use facts::{Knowledge, load_case};
use infer::assessment::{Assessment, Estimate};
use infer::{Evidence, assess};
use recording::{Options, Recording, read_path};
use std::error::Error;
use std::path::{Path, PathBuf};

/// A case and its decoded recordings.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseFolder {
    /// The facts.
    pub case: Case,
    /// One for each row of `case.recording`; none where the file could not be opened.
    pub recordings: Vec<Option<Recording>>,
}

impl CaseFolder {
    /// Reads a case file and the recordings it names, which stand relative to it.
    ///
    /// # Errors
    /// The file cannot be opened, or the case is refused.
    pub fn open(path: &Path) -> Result<Self, Box<dyn Error>> {
        let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
        let case = load_case(&text, &path.display().to_string())?;
        Ok(Self::with_recordings(case, path.parent().unwrap_or(Path::new("."))))
    }

    /// Joins a case with the recordings it names, which stand relative to `folder`.
    #[must_use]
    pub fn with_recordings(case: Case, folder: &Path) -> Self {
        let recordings = case
            .recording
            .iter()
            .map(|row| {
                let options = Options { column_names: row.columns.clone(), ..Options::default() };
                read_path(&folder.join(&row.file), &options).ok()
            })
            .collect();
        Self { case, recordings }
    }

    /// The same car without pressure readings and recordings: the baseline of every score.
    #[must_use]
    pub fn without_pressure(&self) -> Self {
        let mut case = self.case.clone();
        case.reading.retain(|r| {
            !matches!(r.quantity, Quantity::DifferentialPressure | Quantity::DifferentialPressureGauge)
        });
        case.recording.clear();
        Self { case, recordings: Vec::new() }
    }

    /// The assessment of these facts.
    #[must_use]
    pub fn assess(&self, knowledge: &Knowledge) -> Assessment {
        assess(&Evidence { case: &self.case, recordings: &self.recordings, knowledge })
    }
}

/// An assessment reduced to what is scored.
#[must_use]
pub fn answer(assessment: &Assessment) -> scoring::Answer {
    let interval = |e: &Estimate| scoring::Interval { p05: e.p05, p50: e.p50, p95: e.p95 };
    let filter = &assessment.filter;
    scoring::Answer {
        soot_g_per_l: interval(&filter.soot_load_g_per_l),
        soot_told: filter.soot_load_g_per_l.told,
        standard_pressure_drop_kpa: interval(&filter.standard_pressure_drop_kpa),
        faults: assessment
            .faults
            .iter()
            .map(|(fault, p)| (fault.map_or("none", |f| f.id()).to_owned(), *p))
            .collect(),
    }
}

/// What is wrong with an assessment whatever the facts were; empty when nothing is.
///
/// Quantiles must be finite and in order, probabilities must lie between 0 and 1, and the fault sets and
/// the additive faults must each add up to 1.
#[must_use]
pub fn faults_of_form(a: &Assessment) -> Vec<String> {
    let f = &a.filter;
    let mut wrong = Vec::new();
    let estimates = [
        ("soot mass", &f.soot_mass_g),
        ("soot load", &f.soot_load_g_per_l),
        ("ash mass", &f.ash_mass_g),
        ("ash load", &f.ash_load_g_per_l),
        ("zero", &f.zero_kpa),
        ("standard pressure drop", &f.standard_pressure_drop_kpa),
        ("standard pressure drop as new", &f.standard_pressure_drop_as_new_kpa),
        ("ratio to as new", &f.ratio_to_as_new),
    ];
    for (name, e) in estimates {
        let finite = e.p05.is_finite() && e.p50.is_finite() && e.p95.is_finite();
        if !(finite && e.p05 <= e.p50 && e.p50 <= e.p95) {
            wrong.push(format!("{name}: quantiles {} {} {}", e.p05, e.p50, e.p95));
        }
    }
    for (name, e) in [("soot mass", &f.soot_mass_g), ("ash mass", &f.ash_mass_g)] {
        if e.p05 < 0.0 {
            wrong.push(format!("{name}: below zero ({})", e.p05));
        }
    }
    let sets: Vec<f64> = a.fault_sets.iter().map(|s| s.probability).collect();
    let additive: Vec<f64> = a.additive_faults.iter().map(|(_, p)| *p).collect();
    let marginals: Vec<f64> = a.faults.iter().map(|(_, p)| *p).collect();
    for (name, list, adds_up) in
        [("fault sets", &sets, true), ("additive faults", &additive, true), ("faults", &marginals, false)]
    {
        if list.iter().any(|p| !(-1e-9..=1.0 + 1e-9).contains(p)) {
            wrong.push(format!("{name}: a probability outside 0 to 1 in {list:?}"));
        }
        let sum: f64 = list.iter().sum();
        if adds_up && (sum - 1.0).abs() > 1e-6 {
            wrong.push(format!("{name}: add up to {sum}"));
        }
    }
    wrong
}

/// The truth beside a case, as the demo writes it (`truth.json`).
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub struct TruthFile {
    /// Identifier of the fault, `none` for a healthy car.
    pub fault: String,
    /// What was recorded: `drive`, `workshop`, `typed` ...
    pub session: String,
    /// Soot load, g/L.
    pub soot_load_g_per_l: f64,
    /// Standard pressure drop, kPa.
    pub standard_pressure_drop_kpa: f64,
    /// Whether readings and recording say anything about soot.
    pub carries_information: bool,
    /// The additive side, where the car has one.
    #[serde(default)]
    pub additive: Option<AdditiveTruth>,
}

/// The additive side of a truth file.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub struct AdditiveTruth {
    /// Identifier of its fault, `none` for a sound one.
    pub fault: String,
}

impl TruthFile {
    /// Reads a truth file.
    ///
    /// # Errors
    /// The file cannot be opened or is no truth file.
    pub fn open(path: &Path) -> Result<Self, Box<dyn Error>> {
        let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
        Ok(serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))?)
    }

    /// What is scored.
    #[must_use]
    pub fn truth(&self) -> scoring::Truth {
        // A filter in order on a car whose additive system is not is no car without fault. Where both are
        // at fault, the filter's is the one asked for.
        let own = (self.fault != "none").then_some(&self.fault);
        let other = self.additive.as_ref().map(|a| &a.fault).filter(|f| *f != "none");
        scoring::Truth {
            soot_g_per_l: self.soot_load_g_per_l,
            standard_pressure_drop_kpa: self.standard_pressure_drop_kpa,
            faults: own.or(other).cloned().into_iter().collect(),
            carries_information: Some(self.carries_information),
        }
    }
}

/// One case answered with all its facts and without pressure readings and recordings.
#[derive(Debug, Clone)]
pub struct Answered {
    /// The truth.
    pub truth: TruthFile,
    /// The answer from all facts.
    pub full: scoring::Answer,
    /// The answer of the same program that saw no pressure.
    pub without_pressure: scoring::Answer,
}

/// Answers a list of case folders (each with `case.toml` and `truth.json`) on all cores, in their order.
/// A folder that cannot be read gives the reason.
#[must_use]
pub fn answer_all(folders: &[PathBuf], knowledge: &Knowledge) -> Vec<Result<Answered, String>> {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let one = |folder: &PathBuf| -> Result<Answered, String> {
        let case = CaseFolder::open(&folder.join("case.toml")).map_err(|e| e.to_string())?;
        Ok(Answered {
            truth: TruthFile::open(&folder.join("truth.json")).map_err(|e| e.to_string())?,
            full: answer(&case.assess(knowledge)),
            without_pressure: answer(&case.without_pressure().assess(knowledge)),
        })
    };
    std::thread::scope(|scope| {
        let handles: Vec<_> = folders
            .chunks(folders.len().div_ceil(workers).max(1))
            .map(|part| scope.spawn(move || part.iter().map(one).collect::<Vec<_>>()))
            .collect();
        let panicked = |_| vec![Err("an assessment panicked".to_owned())];
        handles.into_iter().flat_map(|h| h.join().unwrap_or_else(panicked)).collect()
    })
}

/// The scores of a batch beside those of the same program without pressure; `None` for an empty batch.
#[must_use]
pub fn compare(batch: &[&Answered]) -> Option<(scoring::Scores, scoring::Scores)> {
    let of = |pick: fn(&Answered) -> &scoring::Answer| {
        let pairs: Vec<_> = batch.iter().map(|a| (pick(a).clone(), a.truth.truth())).collect();
        scoring::score(&pairs)
    };
    Some((of(|a| &a.full)?, of(|a| &a.without_pressure)?))
}
