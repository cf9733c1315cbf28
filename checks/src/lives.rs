//! How good are the answers to a life of several visits where the truth is known?

use crate::scoring::{FLOOR, Interval};
use facts::case::Case;
use facts::{Knowledge, load_case};
use infer::Evidence;
use infer::assessment::{Estimate, ProofVerdict};
use infer::life::UnrecordedChange;
use recording::{Options, Recording, read_path};
use std::error::Error;
use std::path::{Path, PathBuf};

/// The visits of a life with their recordings, as the program reads them from a folder.
#[derive(Debug)]
pub struct LifeFolder {
    /// Case and recordings of each visit, earliest first.
    pub visits: Vec<(Case, Vec<Option<Recording>>)>,
}

impl LifeFolder {
    /// Reads `folder/visit-*/case.toml`, at most `first` of them.
    ///
    /// # Errors
    /// A file cannot be opened, or the life is refused.
    pub fn open(folder: &Path, first: usize) -> Result<Self, Box<dyn Error>> {
        let mut files = Vec::new();
        for path in visit_folders(folder)?.into_iter().take(first) {
            let file = path.join("case.toml");
            let text = std::fs::read_to_string(&file).map_err(|e| format!("{}: {e}", file.display()))?;
            let mut case = load_case(&text, &file.display().to_string())?;
            let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            for row in &mut case.recording {
                row.file = format!("{name}/{}", row.file);
            }
            files.push((name, case));
        }
        let (joined, _) = facts::visits::join(&folder.display().to_string(), files)?;
        let visits = facts::visits::of(&joined)
            .into_iter()
            .map(|case| {
                let recordings = case
                    .recording
                    .iter()
                    .map(|row| {
                        let options = Options { column_names: row.columns.clone(), ..Options::default() };
                        read_path(&folder.join(&row.file), &options).ok()
                    })
                    .collect();
                (case, recordings)
            })
            .collect();
        Ok(Self { visits })
    }

    /// The evidence of each visit.
    #[must_use]
    pub fn evidence<'a>(&'a self, knowledge: &'a Knowledge) -> Vec<Evidence<'a>> {
        self.visits.iter().map(|(case, recordings)| Evidence { case, recordings, knowledge }).collect()
    }
}

/// The folders of the visits in their order.
///
/// # Errors
/// The folder cannot be read.
pub fn visit_folders(folder: &Path) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut out: Vec<PathBuf> = std::fs::read_dir(folder)
        .map_err(|e| format!("{}: {e}", folder.display()))?
        .filter_map(|e| e.ok().map(|e| e.path()))
        .filter(|p| p.join("case.toml").is_file())
        .collect();
    out.sort();
    Ok(out)
}

/// The truth of a visit as the demo writes it.
#[derive(Debug, Clone, PartialEq, serde::Deserialize)]
pub struct VisitTruth {
    /// Soot load, g/L.
    pub soot_load_g_per_l: f64,
    /// Standard pressure drop, kPa.
    pub standard_pressure_drop_kpa: f64,
    /// Fault identifier or `none`.
    pub fault: String,
    /// What was recorded.
    pub session: String,
    /// Viscous resistance after over before.
    pub proof_ratio: Option<f64>,
    /// Whether a regeneration was completed shortly before.
    pub after_complete_regeneration: bool,
    /// Changes since the visit before.
    pub changes: Changes,
}

/// Changes since the visit before.
#[derive(Debug, Clone, Copy, PartialEq, serde::Deserialize)]
#[allow(missing_docs)]
pub struct Changes {
    pub sensor_unrecorded: bool,
    pub filter_unrecorded: bool,
}

/// One visit answered.
#[derive(Debug, Clone)]
pub struct AnsweredVisit {
    /// Place of the visit in its life, from 0.
    pub number: usize,
    /// The truth.
    pub truth: VisitTruth,
    /// Soot load with all facts so far, g/L.
    pub soot: Interval,
    /// Standard pressure drop, kPa.
    pub standard: Interval,
    /// Soot load of the same visit answered alone, g/L.
    pub soot_alone: Interval,
    /// Standard pressure drop of the visit answered alone, kPa.
    pub standard_alone: Interval,
    /// Unrecorded change as told.
    pub change: Option<UnrecordedChange>,
    /// Verdict of the proof, where there is one.
    pub proof: Option<(ProofVerdict, Option<f64>)>,
    /// Its ratio.
    pub ratio: Option<Interval>,
}

fn interval(e: &Estimate) -> Interval {
    Interval { p05: e.p05, p50: e.p50, p95: e.p95 }
}

/// Answers a life after its last visit, and every visit alone.
///
/// # Errors
/// A file cannot be opened or is refused.
pub fn answer(folder: &Path, knowledge: &Knowledge) -> Result<Vec<AnsweredVisit>, Box<dyn Error>> {
    let life = LifeFolder::open(folder, usize::MAX)?;
    let evidence = life.evidence(knowledge);
    let out = infer::life::assess(&evidence).ok_or("no visits")?;
    let visits = out.life.as_ref().ok_or("a single visit")?;
    let mut list = Vec::new();
    for (i, path) in visit_folders(folder)?.into_iter().enumerate() {
        let text = std::fs::read_to_string(path.join("truth.json"))?;
        let truth: VisitTruth = serde_json::from_str(&text)?;
        let (Some(v), Some(e)) = (visits.visits.get(i), evidence.get(i)) else { continue };
        let alone = infer::assess(e);
        let proof = match i + 1 == visits.visits.len() {
            true => out.proof.as_ref(),
            false => v.proof.as_ref(),
        };
        list.push(AnsweredVisit {
            number: i,
            truth,
            soot: interval(&v.filter.soot_load_g_per_l),
            standard: interval(&v.filter.standard_pressure_drop_kpa),
            soot_alone: interval(&alone.filter.soot_load_g_per_l),
            standard_alone: interval(&alone.filter.standard_pressure_drop_kpa),
            change: v.unrecorded_change,
            proof: proof.map(|p| (p.verdict, p.regeneration_complete)),
            ratio: proof.map(|p| interval(&p.ratio)),
        });
    }
    Ok(list)
}

/// Winkler score, coverage and median error of an interval, and of a relative figure.
#[must_use]
pub fn figures(list: &[(Interval, f64)]) -> (f64, f64, f64, f64) {
    let n = list.len().max(1) as f64;
    let median = |mut v: Vec<f64>| {
        v.sort_by(f64::total_cmp);
        v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
    };
    (
        list.iter().map(|(i, t)| i.winkler(*t)).sum::<f64>() / n,
        list.iter().filter(|(i, t)| i.covers(*t)).count() as f64 / n,
        median(list.iter().map(|(i, t)| (i.p50 - t).abs()).collect()),
        median(list.iter().map(|(i, t)| (i.p50 / t - 1.0).abs()).collect()),
    )
}

/// ln score of the three ways (nothing, sensor, filter) on gaps.
#[must_use]
pub fn change_log_score(list: &[AnsweredVisit]) -> Option<f64> {
    let logs: Vec<f64> = list
        .iter()
        .filter_map(|v| {
            let c = v.change?;
            let p = if v.truth.changes.sensor_unrecorded {
                c.sensor
            } else if v.truth.changes.filter_unrecorded {
                c.filter
            } else {
                1.0 - c.sensor - c.filter
            };
            Some(p.max(FLOOR).ln())
        })
        .collect();
    (!logs.is_empty()).then(|| logs.iter().sum::<f64>() / logs.len() as f64)
}
