//! Fills records with an invented workshop of any size, for measuring: `fill_store FOLDER JOBS`.
//!
//! One car for every three jobs, each job with readings of its own, a refill done step by step, signed, sealed and
//! handed over; the last thirty are open. A drum for every fifteen fills. Facts are chained as the bench chains them,
//! but not judged: that is measured elsewhere. A list of addresses for a load client is written beside the records.

use bench::state::{Keeper, Person, search_word};
use facts::case::{Case, Role};
use serde_json::{Value, json};
use shop::chain::{BEGIN, Chained, Seal, link};
use shop::record::{Entry, Look, Pouring};
use shop::work::Rules;
use shop::{Id, Subject, What};
use std::fmt::Write as _;
use std::path::PathBuf;
use store::{Plain, Records, Sqlite};

type Failure = Box<dyn std::error::Error>;

const HOUR: i64 = 3_600_000;
/// Different cases; every car varies one of them.
const CASES: usize = 200;
const FLUID: &str = "concentrate-cerium-iron";
/// Jobs written together.
const TOGETHER: usize = 300;

/// Identifiers and chains.
struct Maker {
    count: u64,
    by: Id,
    facts: Vec<Chained>,
    seals: Vec<Seal>,
    sealed: (u64, String),
}

impl Maker {
    fn id(&mut self, at_ms: i64) -> Id {
        self.count += 1;
        let hash = blake3::hash(&self.count.to_le_bytes());
        let mut chance = [0; 10];
        chance.copy_from_slice(&hash.as_bytes()[..10]);
        Id::v7(at_ms.unsigned_abs(), &chance)
    }

    /// Facts of one subject, in their order; the hash of the last.
    fn tell(
        &mut self,
        subject: &Subject,
        from: (u64, String),
        facts: Vec<(i64, What)>,
    ) -> Result<(u64, String), Failure> {
        let (mut version, mut hash) = from;
        for (at_ms, what) in facts {
            version += 1;
            let entry = Entry {
                id: self.id(at_ms),
                subject: subject.clone(),
                version,
                happened_ms: at_ms,
                recorded_ms: at_ms,
                by: self.by.clone(),
                corrects: None,
                what,
            };
            hash = link(&hash, &entry)?;
            self.facts.push(Chained { entry, hash: hash.clone() });
        }
        Ok((version, hash))
    }

    fn seal(&mut self, job: &Id, version: u64, head: String) {
        let s = Seal::new(self.sealed.0 + 1, job.clone(), version, head, self.sealed.1.clone());
        self.sealed = (s.number, s.hash.clone());
        self.seals.push(s);
    }
}

fn cases() -> Vec<Case> {
    let made = (0..CASES).map(|i| demo::batch::generate(19, i, Some(demo::batch::Session::Typed)).case);
    made.map(|mut c| {
        c.title = None;
        c.recording.clear();
        c.reservoir.car_type = None;
        c.reservoir.fluid = Some(FLUID.into());
        for r in &mut c.reading {
            (r.role, r.time) = (Some(Role::Before), None);
        }
        c
    })
    .collect()
}

/// Rows of a case at one visit of a car: history at the first only; readings differ from car to car.
fn rows(case: &Case, visit: usize, vary: f64, job: &Id) -> Result<Vec<What>, Failure> {
    let mut out = Vec::new();
    let km =
        case.car.odometer_km.unwrap_or(90_000.0).round() + 14_000.0 * visit as f64 + (vary * 900.0).round();
    let whole = serde_json::to_value(case)?;
    for (table, value) in whole.as_object().into_iter().flatten() {
        let measured = matches!(table.as_str(), "reading" | "observation" | "fault_memory");
        let list = match value {
            Value::Array(a) if visit == 0 || measured => a.clone(),
            Value::Object(o) if visit == 0 && !o.is_empty() => vec![value.clone()],
            _ => Vec::new(),
        };
        for mut row in list {
            if let Some(v) = row.get("value").and_then(Value::as_f64)
                && let Some(o) = row.as_object_mut()
            {
                o.insert("value".into(), json!((v * (1.0 + 0.04 * vary) * 1e4).round() / 1e4));
            }
            out.push(What::Told { table: table.clone(), row, job: Some(job.clone()), file: None });
        }
    }
    let row = json!({ "odometer_km": km });
    out.push(What::Told { table: "car".into(), row, job: Some(job.clone()), file: None });
    Ok(out)
}

/// The facts of a refill; `open`: up to the middle of its steps.
fn refill(car: &Id, at_ms: i64, steps: &[String], lot: &str, open: bool) -> Vec<(i64, What)> {
    let minute = 60_000;
    let mut at = at_ms;
    let mut out = Vec::new();
    let mut put = |what: What| {
        at += minute;
        out.push((at, what));
    };
    put(What::JobOpened { car: car.clone(), triage: [("leak".to_owned(), false)].into() });
    put(What::Answered { way: "refill_only".into(), gross: 214.2, currency: "EUR".into(), accepted: true });
    put(What::Planned { procedures: vec!["refill".into()] });
    let look = || What::Looked {
        fluid: FLUID.into(),
        lot: lot.into(),
        expiry: Some("2099-12-31".into()),
        how: Look::Scan,
    };
    put(look());
    put(look());
    for (i, step) in steps.iter().enumerate() {
        if open && i * 2 > steps.len() {
            return out;
        }
        if step == "fill" {
            put(What::Weighed { step: step.clone(), at: Pouring::Before, gross_g: 412.0 });
            put(What::Weighed { step: step.clone(), at: Pouring::After, gross_g: 1760.0 });
        }
        put(What::StepDone { step: step.clone() });
    }
    put(What::Signed {});
    put(What::HandedOver {});
    out
}

#[tokio::main]
async fn main() -> Result<(), Failure> {
    let mut words = std::env::args().skip(1);
    let (Some(folder), Some(jobs)) = (words.next().map(PathBuf::from), words.next()) else {
        return Err("usage: fill_store FOLDER JOBS".into());
    };
    let jobs: usize = jobs.parse()?;
    let records = Sqlite::open_invented(&folder).await?;
    let now = jiff::Timestamp::now().as_millisecond();
    let by = Id::v7(now.unsigned_abs(), &[7; 10]);
    let mut m =
        Maker { count: 0, by: by.clone(), facts: Vec::new(), seals: Vec::new(), sealed: (0, BEGIN.into()) };
    let plain = |kind: &str, id: &Id, word: &str, body: String| Plain {
        kind: kind.into(),
        id: id.to_string(),
        word: search_word(word),
        body,
    };
    let ines = Person { name: "Ines K.".into(), left: false };
    records.restore_plains(vec![plain("person", &by, "Ines K.", serde_json::to_string(&ines)?)]).await?;
    let rules = Rules::built_in()?;
    let procedure = rules.procedure("refill").ok_or("no refill among the procedures")?;
    let steps: Vec<String> = procedure.step.iter().map(|s| s.id.clone()).collect();
    let cases = cases();
    let mut urls =
        String::from("/\n/due\n/shelf\n/jobs\n/find?q=TR1\n/sources\n/api/v1/jobs\n/api/v1/jobs?open=true\n");
    let cars = jobs.div_ceil(3);
    let mut written = 0;
    let mut keepers = Vec::new();
    let mut lots: Vec<(Subject, String, u64, String)> = Vec::new();
    for n in 0..cars {
        let began = now - (cars - n) as i64 * HOUR / 4 - 2 * 365 * 24 * HOUR;
        let car = m.id(began);
        let on_car = Subject::Car(car.clone());
        let keeper = Keeper {
            plate: format!("TR {n} {}", char::from(b'A' + (n % 26) as u8)),
            words: "grey estate, 2.0 diesel".into(),
            owner: format!("Owner {n}"),
            contact: format!("0555 {n:06}"),
        };
        keepers.push(plain("keeper", &car, &keeper.sought(), serde_json::to_string(&keeper)?));
        let mut head = m.tell(&on_car, (0, BEGIN.into()), vec![(began, What::CarOpened {})])?;
        let case = cases.get(n % CASES).ok_or("a case")?;
        let vary = f64::from((n as u32).wrapping_mul(2_654_435_761)) / f64::from(u32::MAX);
        let mut opened = Vec::new();
        for visit in 0..3.min(jobs - written) {
            let at = began + visit as i64 * 365 * 24 * HOUR;
            let job = m.id(at);
            let told = rows(case, visit, vary, &job)?.into_iter().map(|w| (at, w)).collect();
            head = m.tell(&on_car, head, told)?;
            opened.push((job, at));
        }
        for (job, at) in opened {
            let open = written + 30 >= jobs;
            if written % 15 == 0 {
                let lot = format!("26-{:05}", written / 15);
                let on = Subject::Lot(m.id(at));
                let taken = What::LotTaken {
                    fluid: FLUID.into(),
                    lot: lot.clone(),
                    expiry: Some("2099-12-31".into()),
                    volume_ml: 25_500.0,
                };
                let (version, hash) = m.tell(&on, (0, BEGIN.into()), vec![(at, taken)])?;
                lots.push((on, lot, version, hash));
            }
            let lot = lots.last_mut().ok_or("a lot")?;
            let facts = refill(&car, at, &steps, &lot.1, open);
            let end = facts.last().map_or(at, |f| f.0);
            let sealed = !open;
            let signed_at = facts.len().saturating_sub(1) as u64;
            m.tell(&Subject::Job(job.clone()), (0, BEGIN.into()), facts)?;
            if sealed {
                // The seal holds the chain up to the signature, which stands before the handing over.
                let head = m.facts.iter().rev().nth(1).map(|f| f.hash.clone()).ok_or("a fact")?;
                m.seal(&job, signed_at, head);
                let used = What::LotUsed { job: job.clone(), car: car.clone(), volume_ml: 1680.0 };
                let (on, from) = (lot.0.clone(), (lot.2, std::mem::take(&mut lot.3)));
                let (version, hash) = m.tell(&on, from, vec![(end, used)])?;
                if let Some(l) = lots.last_mut() {
                    (l.2, l.3) = (version, hash);
                }
            }
            if written % (jobs / 400).max(1) == 0 {
                let _ = write!(
                    urls,
                    "/car/{car}\n/job/{job}/steps\n/job/{job}/step/fill\n/job/{job}/proof\n/job/{job}/readings\n\
                     /api/v1/jobs/{job}\n/api/v1/cars/{car}\n/api/v1/cars/{car}/answer\n/find?q=TR{n}\n/jobs?before={at}\n"
                );
            }
            written += 1;
        }
        if m.facts.len() > TOGETHER * 25 || n + 1 == cars {
            // Facts of one subject stand together.
            m.facts.sort_by(|a, b| {
                let key =
                    |f: &Chained| (f.entry.subject.kind(), f.entry.subject.id().to_string(), f.entry.version);
                key(a).cmp(&key(b))
            });
            records.restore(std::mem::take(&mut m.facts)).await?;
            records.restore_seals(std::mem::take(&mut m.seals)).await?;
            records.restore_plains(std::mem::take(&mut keepers)).await?;
            eprint!("\r{written} of {jobs} jobs");
        }
    }
    eprintln!();
    std::fs::write(folder.join("addresses.txt"), urls)?;
    records.close().await;
    Ok(())
}
