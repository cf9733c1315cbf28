//! Closed jobs into counts, counts of several workshops into one, counts into figures of one's own.

use crate::assess::{assess, write_page};
use crate::cli::{KnowledgeClose, KnowledgeCount, KnowledgeJoin, KnowledgeLearn};
use crate::failure::{Failure, Outcome};
use crate::inputs::{Inputs, read_knowledge, read_text};
use crate::output::{Input, Program, named_schema};
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with, within};
use crate::{args, now, print, print_json};
use facts::knowledge::{Counted, Mark};
use facts::{FaultId, Knowledge};
use infer::learn::{ClosedJob, Doubt, Learned, Ledger, NotCounted, Said, WorkshopCounts, count, learn};
use infer::observe::Seen;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The value of `schema` of a file of closed jobs.
const JOBS: &str = "sootwright.closed-jobs/1";
/// The value of `schema` of a file of counts.
const COUNTS: &str = "sootwright.counts/1";
/// Counts of fewer jobs do not leave the workshop, so that no count is one car.
const LEAST_JOBS: u32 = 5;
/// The name of a workshop that learns from its own jobs alone.
const ALONE: &str = "own";

/// A file of closed jobs.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Closed jobs")]
struct JobsFile {
    /// Always `sootwright.closed-jobs/1`.
    schema: String,
    /// The jobs.
    #[serde(default)]
    job: Vec<ClosedJob>,
}

/// A file of counts.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "Counts")]
struct CountsFile {
    /// Always `sootwright.counts/1`.
    schema: String,
    /// By the name that each workshop made up for itself.
    #[serde(default)]
    workshops: BTreeMap<String, WorkshopCounts>,
}

/// The JSON Schema of a file of closed jobs.
pub fn jobs_schema() -> serde_json::Value {
    named_schema(&schemars::schema_for!(JobsFile), JOBS)
}

/// The JSON Schema of a file of counts.
pub fn counts_schema() -> serde_json::Value {
    named_schema(&schemars::schema_for!(CountsFile), COUNTS)
}

/// What the files on the command line hold.
#[derive(Default)]
pub struct Read {
    /// Closed jobs.
    pub jobs: Vec<ClosedJob>,
    /// Counts.
    pub ledger: Ledger,
    /// Whether a file of counts was among them.
    pub counts: bool,
    /// The files.
    pub inputs: Vec<Input>,
}

/// Reads files of closed jobs and of counts, told apart by their schema.
pub fn read(paths: &[PathBuf]) -> Result<Read, Failure> {
    let mut out = Read::default();
    for path in paths {
        let (text, hash) = read_text(path)?;
        let shown = path.display().to_string();
        let refuse = |what: String| Failure::Refused(format!("{shown}: {what}"));
        #[derive(Deserialize)]
        struct Head {
            schema: Option<String>,
        }
        let head: Head = toml::from_str(&text).map_err(|e| refuse(e.to_string()))?;
        let kind = match head.schema.as_deref() {
            Some(JOBS) => {
                let file: JobsFile = toml::from_str(&text).map_err(|e| refuse(e.to_string()))?;
                for job in &file.job {
                    check(job).map_err(refuse)?;
                }
                out.jobs.extend(file.job);
                "closed_jobs"
            }
            Some(COUNTS) => {
                let file: CountsFile = toml::from_str(&text).map_err(|e| refuse(e.to_string()))?;
                let ledger = Ledger { workshops: file.workshops };
                if let Some((workshop, doubt)) = ledger.doubts().first() {
                    return Err(refuse(told(workshop, doubt)));
                }
                for workshop in ledger.workshops.keys() {
                    made_up(workshop).map_err(|e| refuse(e.to_string()))?;
                }
                out.ledger.merge(&ledger);
                out.counts = true;
                "counts"
            }
            other => {
                return Err(refuse(say_with(
                    "error-learn-schema",
                    &args! { "found" => other.unwrap_or("").to_owned(), "jobs" => JOBS, "counts" => COUNTS },
                )));
            }
        };
        out.inputs.push(Input { path: shown, kind: kind.into(), blake3: hash });
    }
    Ok(out)
}

fn told(workshop: &str, doubt: &Doubt) -> String {
    match doubt {
        Doubt::MoreThanJobs { what, count, jobs } => say_with(
            "error-counts-more",
            &args! {
                "workshop" => workshop.to_owned(), "what" => what.clone(), "count" => i64::from(*count),
                "jobs" => i64::from(*jobs),
            },
        ),
        Doubt::NoTime => say_with("error-counts-time", &args! { "workshop" => workshop.to_owned() }),
    }
}

/// What cannot be true of a job.
fn check(job: &ClosedJob) -> Result<(), String> {
    let row = |what: String| Err(say_with("error-job", &args! { "id" => job.id.clone(), "what" => what }));
    if job.id.trim().is_empty() {
        return row(say("error-job-id"));
    }
    if job.closed.parse::<jiff::civil::Date>().is_err() {
        return row(say_with("error-job-day", &args! { "day" => job.closed.clone() }));
    }
    let sum: f64 = job.said.iter().map(|s| s.p).sum();
    if job.said.iter().any(|s| !(0.0..=1.0).contains(&s.p)) || sum > 1.0 + 1e-6 {
        return row(say_with("error-job-said", &args! { "sum" => number(sum, 3) }));
    }
    Ok(())
}

/// A name that a workshop made up: short, no sentence, nothing that could be an address.
fn made_up(name: &str) -> Result<(), Failure> {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if (3..=32).contains(&name.len()) && name.chars().all(fits) {
        return Ok(());
    }
    Err(Failure::Usage(say_with("error-made-up-name", &args! { "name" => name.to_owned() })))
}

fn program() -> String {
    let p = Program::this();
    format!("{} {}", p.name, p.version)
}

/// `knowledge close`: a case becomes a closed job.
pub fn close(order: &KnowledgeClose) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let mut confirmed = Vec::new();
    for id in &order.confirmed {
        match FaultId::from_id(id) {
            Some(f) => confirmed.push(f),
            None => return Err(Failure::Usage(say_with("error-no-fault", &args! { "id" => id.clone() }))),
        }
    }
    confirmed.sort();
    confirmed.dedup();
    let role = infer::typed::current_role(&inputs.case);
    let seen = Seen::new(&inputs.case, &inputs.recordings, inputs.knowledge(), role, false);
    let answers = seen.answers.into_iter();
    let assessment = assess(&inputs);
    let worth_saying = assessment.fault_sets.iter().filter(|s| s.probability >= 0.001);
    let job = ClosedJob {
        id: order.number.clone(),
        closed: order.on.clone().unwrap_or_else(|| now().chars().take(10).collect()),
        confirmed,
        proof: order.proof.clone(),
        came_back: order.came_back.map(|a| a == crate::cli::YesNo::Yes),
        observed: answers.filter(|(o, _)| inputs.knowledge().observation(o).is_some()).collect(),
        said: worth_saying
            .map(|s| Said { faults: s.faults.clone(), p: (s.probability * 1e4).round() / 1e4 })
            .collect(),
    };
    check(&job).map_err(Failure::Usage)?;
    let mut file = if order.jobs.exists() {
        JobsFile { schema: JOBS.into(), job: read(std::slice::from_ref(&order.jobs))?.jobs }
    } else {
        JobsFile { schema: JOBS.into(), job: Vec::new() }
    };
    // A job closed again replaces what was known of it: a come-back is asked for weeks later.
    let again = file.job.iter().any(|j| j.id == job.id);
    file.job.retain(|j| j.id != job.id);
    file.job.push(job);
    write(&order.jobs, &say("note-closed-jobs"), &file)?;
    let id = if again { "out-closed-again" } else { "out-closed" };
    print(
        &(say_with(id, &args! { "path" => order.jobs.display().to_string(), "count" => file.job.len() })
            + "\n"),
    )?;
    Ok(Outcome::Answered)
}

fn write(path: &Path, head: &str, value: &impl Serialize) -> Result<(), Failure> {
    let text = toml::to_string(value).map_err(|e| Failure::Refused(e.to_string()))?;
    let head: String = head.lines().map(|l| format!("# {l}\n")).collect();
    write_page(path, &format!("{head}\n{text}"))
}

/// `knowledge count`: closed jobs become counts that may leave the workshop.
pub fn count_jobs(order: &KnowledgeCount) -> Result<Outcome, Failure> {
    made_up(&order.name)?;
    let (knowledge, _) = read_knowledge(order.knowledge.as_deref())?;
    let read = read(&order.jobs)?;
    let (counts, left_out) = count(&read.jobs, &knowledge, &now(), &program());
    if counts.jobs < LEAST_JOBS {
        return Err(Failure::Refused(say_with(
            "error-few-jobs",
            &args! { "jobs" => i64::from(counts.jobs), "least" => i64::from(LEAST_JOBS) },
        )));
    }
    let mut page = Page::default();
    told_of(&counts, &left_out, &mut page);
    let ledger = Ledger::of(&order.name, counts);
    write(
        &order.out,
        &say("note-counts"),
        &CountsFile { schema: COUNTS.into(), workshops: ledger.workshops },
    )?;
    page.line(&say_with("out-counts-written", &args! { "path" => order.out.display().to_string() }));
    print(&page.finish())?;
    Ok(Outcome::Answered)
}

fn told_of(counts: &WorkshopCounts, left_out: &[(String, NotCounted)], page: &mut Page) {
    page.strong(&say_with(
        "out-jobs-counted",
        &args! { "jobs" => i64::from(counts.jobs), "from" => counts.from.clone(), "until" => counts.until.clone() },
    ));
    for why in [NotCounted::NoProof, NotCounted::CameBack, NotCounted::Again] {
        let ids: Vec<&str> = left_out.iter().filter(|l| l.1 == why).map(|l| l.0.as_str()).collect();
        if !ids.is_empty() {
            let id = match why {
                NotCounted::NoProof => "out-not-counted-proof",
                NotCounted::CameBack => "out-not-counted-back",
                NotCounted::Again => "out-not-counted-again",
            };
            page.item(&say_with(id, &args! { "count" => ids.len(), "jobs" => ids.join(", ") }));
        }
    }
}

/// `knowledge join`: counts of several workshops become one file.
pub fn join(order: &KnowledgeJoin) -> Result<Outcome, Failure> {
    let read = read(&order.counts)?;
    if !read.jobs.is_empty() {
        return Err(Failure::Usage(say("error-join-jobs")));
    }
    let sum = read.ledger.sum();
    let workshops = read.ledger.workshops.len();
    write(
        &order.out,
        &say("note-counts"),
        &CountsFile { schema: COUNTS.into(), workshops: read.ledger.workshops },
    )?;
    print(
        &(say_with(
            "out-joined",
            &args! {
                "workshops" => workshops, "jobs" => i64::from(sum.jobs),
                "path" => order.out.display().to_string(),
            },
        ) + "\n"),
    )?;
    Ok(Outcome::Answered)
}

/// Rows as they are laid over the knowledge.
#[derive(Serialize)]
struct FaultRow {
    id: String,
    prior_weight: f64,
    mark: Mark,
    counted: Counted,
}

#[derive(Serialize)]
struct FaultsFile {
    schema: &'static str,
    fault: Vec<FaultRow>,
}

#[derive(Serialize)]
struct LikelihoodsFile {
    schema: &'static str,
    likelihood: BTreeMap<String, BTreeMap<String, facts::knowledge::Likelihood>>,
}

#[derive(Serialize)]
struct WorkRow {
    id: String,
    works: f64,
    mark: Mark,
    counted: Counted,
}

#[derive(Serialize)]
struct ActionsFile {
    schema: &'static str,
    work: Vec<WorkRow>,
}

/// One figure that moved, for other programs.
#[derive(Serialize)]
struct Moved {
    kind: &'static str,
    fault: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    observation: Option<String>,
    before: f64,
    after: f64,
    yes: f64,
    of: f64,
}

#[derive(Serialize)]
struct Answer {
    schema: &'static str,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    workshops: Vec<String>,
    jobs: u32,
    not_counted: Vec<(String, NotCounted)>,
    files: Vec<String>,
    /// Every figure that moved, the farthest (in log odds) first.
    moved: Vec<Moved>,
}

/// `knowledge learn`: jobs and counts become rows of one's own.
pub fn learn_from(order: &KnowledgeLearn) -> Result<Outcome, Failure> {
    let (knowledge, _) = read_knowledge(order.knowledge.as_deref())?;
    let mut read = read(&order.files)?;
    let name = match (&order.name, read.counts && !read.jobs.is_empty()) {
        (Some(name), _) => name.as_str(),
        // One's own jobs may stand in the counts already, under a name.
        (None, true) => return Err(Failure::Usage(say("error-learn-name"))),
        (None, false) => ALONE,
    };
    made_up(name)?;
    let mut left_out = Vec::new();
    if !read.jobs.is_empty() {
        let (counts, out) = count(&read.jobs, &knowledge, &now(), &program());
        left_out = out;
        read.ledger.merge(&Ledger::of(name, counts));
    }
    let sum = read.ledger.sum();
    let learned = learn(&knowledge, &read.ledger, &program());
    let files = write_rows(&order.into, &learned, &knowledge)?;
    let moved = moved(&learned);
    if order.json {
        print_json(&Answer {
            schema: "sootwright.learned/1",
            program: Program::this(),
            made_at: now(),
            inputs: read.inputs,
            workshops: read.ledger.workshops.keys().cloned().collect(),
            jobs: sum.jobs,
            not_counted: left_out,
            files,
            moved,
        })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    told_of(&sum, &left_out, &mut page);
    page.line(&say_with("out-learned-from", &args! { "workshops" => read.ledger.workshops.len() }));
    page.heading(&say("head-moved"));
    for m in moved.iter().take(12) {
        let fault = FaultId::from_id(&m.fault).map_or_else(|| knowledge.none(), |f| knowledge.fault(f));
        let observation = m.observation.as_deref().and_then(|o| knowledge.observation(o));
        page.item(&say_with(
            match m.kind {
                "share" => "out-moved-share",
                "works" => "out-moved-works",
                _ => "out-moved-likelihood",
            },
            &args! {
                "fault" => within(&fault.label),
                "observation" => observation.map_or_else(String::new, |o| within(&o.label)),
                "before" => of_100(m.before), "after" => of_100(m.after),
                "yes" => number(m.yes, 0), "of" => number(m.of, 0),
            },
        ));
    }
    if moved.is_empty() {
        page.line(&say("out-moved-nothing"));
    }
    for f in &files {
        page.line(&say_with("out-learned-file", &args! { "path" => f.clone() }));
    }
    page.line(&say_with("out-learned-use", &args! { "dir" => order.into.display().to_string() }));
    print(&page.finish())?;
    Ok(Outcome::Answered)
}

fn moved(learned: &Learned) -> Vec<Moved> {
    let row = |kind, fault: &str, observation: Option<&str>, f: &infer::learn::Figure| Moved {
        kind,
        fault: fault.to_owned(),
        observation: observation.map(str::to_owned),
        before: f.counted.before,
        after: f.p,
        yes: f.counted.yes,
        of: f.counted.of,
    };
    let mut out: Vec<Moved> = learned.shares.iter().map(|(f, s)| row("share", f, None, s)).collect();
    out.extend(learned.likelihoods.iter().map(|((f, o), s)| row("likelihood", f, Some(o), s)));
    out.extend(learned.works.iter().map(|(f, s)| row("works", f, None, s)));
    let odds = |p: f64| (p.clamp(1e-6, 1.0 - 1e-6) / (1.0 - p.clamp(1e-6, 1.0 - 1e-6))).ln();
    let far = |m: &Moved| (odds(m.after) - odds(m.before)).abs();
    out.sort_by(|a, b| far(b).total_cmp(&far(a)));
    out
}

/// Writes the three files; each is a whole overlay of its kind, so that what was learnt before is replaced.
fn write_rows(folder: &Path, learned: &Learned, knowledge: &Knowledge) -> Result<Vec<String>, Failure> {
    let mut files = Vec::new();
    let head = say("note-learned");
    let fault = learned.shares.iter().map(|(id, f)| FaultRow {
        id: id.clone(),
        prior_weight: f.p.max(1e-6),
        mark: Mark::Counted,
        counted: f.counted.clone(),
    });
    let mut likelihood: BTreeMap<String, BTreeMap<String, facts::knowledge::Likelihood>> = BTreeMap::new();
    for ((fault, observation), f) in &learned.likelihoods {
        let there = match FaultId::from_id(fault) {
            Some(id) => knowledge.likelihood(id, observation),
            None => knowledge.likelihood_none(observation),
        };
        likelihood.entry(fault.clone()).or_default().insert(
            observation.clone(),
            facts::knowledge::Likelihood {
                p: f.p,
                mark: Mark::Counted,
                reason: there.map_or_else(|| say("note-learned-background"), |l| l.reason.clone()),
                source: there.and_then(|l| l.source.clone()),
                overrides: there.is_some_and(|l| l.overrides),
                counted: Some(f.counted.clone()),
            },
        );
    }
    let work = learned.works.iter().map(|(id, f)| WorkRow {
        id: id.clone(),
        works: f.p,
        mark: Mark::Counted,
        counted: f.counted.clone(),
    });
    let mut put = |name: &str, empty: bool, write_it: &dyn Fn(&Path) -> Result<(), Failure>| {
        let path = folder.join(name);
        if empty && !path.exists() {
            return Ok(());
        }
        write_it(&path)?;
        files.push(path.display().to_string());
        Ok::<(), Failure>(())
    };
    let faults = FaultsFile { schema: "sootwright.faults/1", fault: fault.collect() };
    put("learned-faults.toml", faults.fault.is_empty(), &|p| write(p, &head, &faults))?;
    let likelihoods = LikelihoodsFile { schema: "sootwright.likelihoods/1", likelihood };
    put("learned-likelihoods.toml", likelihoods.likelihood.is_empty(), &|p| write(p, &head, &likelihoods))?;
    let actions = ActionsFile { schema: "sootwright.actions/1", work: work.collect() };
    put("learned-actions.toml", actions.work.is_empty(), &|p| write(p, &head, &actions))?;
    Ok(files)
}
