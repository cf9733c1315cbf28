//! `sootwright demo --serve`: fills the invented workshop's records the way people would, each fact judged by the
//! same rules, and opens its bench.

use crate::cli::Demo;
use crate::failure::{Failure, Outcome};
use crate::serve::{open as open_bench, refused};
use bench::form::derived;
use bench::state::{Keeper, Person, Workshop as Figures};
use bench::{Bench, Fail};
use demo::workshop::{Container, FLUID, Stage, Visit, Workshop, WorkshopCar, picture, workshop};
use serde_json::{Map, Value};
use shop::interlock::Holds;
use shop::record::{Look, Pouring};
use shop::work::JobStep;
use shop::{Id, Subject, What};
use std::collections::BTreeMap;
use store::New;

const MINUTE: i64 = 60_000;
const DAY: i64 = 24 * 60 * MINUTE;

/// Begins the records when they are empty, and opens the bench.
pub fn open(order: &Demo) -> Result<Outcome, Failure> {
    let folder = order.out.join("workshop");
    open_bench(&folder, order.address, true, async |bench| {
        if bench.people().await.map_err(|e| refused(&e))?.is_empty() {
            fill(bench, &workshop()).await.map_err(|e| refused(&e))?;
        }
        Ok(())
    })
}

/// One hand that signs facts, with its own clock.
struct Hand<'a> {
    bench: &'a Bench,
    by: Id,
    at_ms: i64,
}

impl Hand<'_> {
    async fn put(&self, subject: &Subject, what: What) -> Result<Id, Fail> {
        let id = Bench::new_id();
        let new = New {
            id: id.clone(),
            subject: subject.clone(),
            expected: None,
            happened_ms: self.at_ms,
            recorded_ms: self.at_ms,
            by: self.by.clone(),
            corrects: None,
            what,
        };
        self.bench.add(new).await?;
        Ok(id)
    }
}

async fn fill(bench: &Bench, w: &Workshop) -> Result<(), Fail> {
    let mut people = Vec::new();
    for name in w.people {
        let id = Bench::new_id();
        let by = people.first().unwrap_or(&id).clone();
        bench.put("person", id.as_str(), name, &Person { name: name.into(), left: false }, &by).await?;
        people.push(id);
    }
    let [first, second, _] = people.as_slice() else {
        return Err(Fail::Machine("the invented workshop has three people".into()));
    };
    let example = shop::Settings::read(include_str!("../../../knowledge/workshop-example.toml"))
        .map_err(Fail::Machine)?;
    let figures = Figures {
        name: w.name.into(),
        phone: w.phone.into(),
        labour_per_hour: example.labour_per_hour,
        tax_percent: example.tax_percent,
        currency: example.currency.clone(),
        valid_days: example.valid_days,
        bore_mm: Some(5.0),
        tube_m: Some(1.6),
        head_cm: Some(75.0),
        bottle_cm2: Some(64.0),
    };
    bench.put("setting", "workshop", "", &figures, first).await?;
    for (id, price) in &example.price {
        bench.put("price", id, id, price, first).await?;
    }
    let now = bench.now_ms();
    for c in &w.shelf {
        container(bench, c, first, now).await?;
    }
    for (n, car) in w.cars.iter().enumerate() {
        let by = people.get(n % people.len()).unwrap_or(first).clone();
        let other = if by == *second { first } else { second };
        one_car(bench, car, by, other, now - (n as i64) * 7 * MINUTE).await?;
    }
    Ok(())
}

async fn container(bench: &Bench, c: &Container, by: &Id, now: i64) -> Result<(), Fail> {
    let id = Bench::new_id();
    let hand = Hand { bench, by: by.clone(), at_ms: now - 400 * DAY };
    let expiry = date(now + i64::from(c.days_left) * DAY);
    hand.put(
        &Subject::Lot(id),
        What::LotTaken {
            fluid: c.fluid.into(),
            lot: c.lot.into(),
            expiry: Some(expiry),
            volume_ml: c.volume_ml,
        },
    )
    .await?;
    Ok(())
}

fn date(ms: i64) -> String {
    bench::pages::hand_over::date(ms)
}

/// Tables whose rows are told again at each visit.
const OF_A_VISIT: [&str; 4] = ["reading", "observation", "fault_memory", "recording"];
/// Tables of a case file that hold one thing.
const SINGLE: [&str; 7] = ["car", "filter", "sensor", "reservoir", "oil", "fuel", "ambient"];

async fn one_car(bench: &Bench, c: &WorkshopCar, by: Id, other: &Id, now: i64) -> Result<(), Fail> {
    let car = Bench::new_id();
    let job = Bench::new_id();
    let (on_car, on_job) = (Subject::Car(car.clone()), Subject::Job(job.clone()));
    let began = match c.stage {
        Stage::Closed { days_ago } => now - i64::from(days_ago) * DAY,
        Stage::Working { .. } => now - 150 * MINUTE,
        _ => now - 35 * MINUTE,
    };
    let before = c.earlier.first().map_or(0, |(days, _)| i64::from(*days) * DAY);
    let mut hand = Hand { bench, by, at_ms: began - before };
    hand.put(&on_car, What::CarOpened {}).await?;
    let keeper = Keeper {
        plate: c.plate.clone(),
        words: c.words.into(),
        owner: c.owner.into(),
        contact: c.contact.into(),
    };
    bench.put("keeper", car.as_str(), &keeper.sought(), &keeper, &hand.by).await?;
    let mut known = Vec::new();
    for (days, visit) in &c.earlier {
        hand.at_ms = began - i64::from(*days) * DAY;
        let job = Bench::new_id();
        tell(&hand, &on_car, &job, visit, &mut known).await?;
        looked_at_only(&hand, &job, &car).await?;
    }
    hand.at_ms = began;
    tell(&hand, &on_car, &job, &c.now, &mut known).await?;
    bench.put("complaint", job.as_str(), c.complaint, &c.complaint, &hand.by).await?;
    let locked = c.stage == Stage::Locked;
    let triage = ["oil_or_noise", "leak"].map(|q| (q.to_owned(), false)).into_iter().collect();
    hand.put(&on_job, What::JobOpened { car: car.clone(), triage }).await?;
    if locked {
        hand.put(&on_job, What::Locked { why: "wrong_fluid".into() }).await?;
        return Ok(());
    }
    if matches!(c.stage, Stage::Fresh | Stage::Read) {
        return Ok(());
    }
    hand.at_ms += 20 * MINUTE;
    let settings = bench.prices().await?;
    let procedures = vec!["refill".to_owned()];
    let parts: Vec<_> = procedures.iter().filter_map(|p| bench.rules().procedure(p)).collect();
    let plan = shop::plan(&parts).map_err(|e| Fail::Machine(e.to_string()))?;
    let quote = shop::quote(&plan, &settings);
    let answer = What::Answered {
        way: "refill_only".into(),
        gross: quote.gross,
        currency: quote.currency,
        accepted: true,
    };
    hand.put(&on_job, answer).await?;
    hand.put(&on_job, What::Planned { procedures }).await?;
    let until = match c.stage {
        Stage::Working { until } => until,
        _ => "",
    };
    while let Some(step) = bench.job(&job).await?.job.next_step().cloned() {
        let stop = step.step.id == until;
        conditions(&mut hand, &job, &step, other, stop).await?;
        if stop {
            return Ok(());
        }
        let tick = hand.put(&on_job, What::StepDone { step: step.step.id.clone() }).await?;
        if step.step.id == "fill" {
            pour(&hand, &job, &tick).await?;
        }
        hand.at_ms += (step.step.hands_on_min.max(1.0) * 0.4 * MINUTE as f64) as i64;
    }
    after(&hand, c, &job, &car).await?;
    hand.put(&on_job, What::Signed {}).await?;
    hand.put(&on_job, What::HandedOver {}).await?;
    hand.at_ms += 9 * DAY;
    hand.put(&on_job, What::FollowedUp { answer: "well".into() }).await?;
    Ok(())
}

/// Tells a visit, table by table; rows of history that are known already are not told again.
async fn tell(
    hand: &Hand<'_>,
    car: &Subject,
    job: &Id,
    visit: &Visit,
    known: &mut Vec<(String, Value)>,
) -> Result<(), Fail> {
    let case = serde_json::to_value(&visit.case).map_err(|e| Fail::Machine(e.to_string()))?;
    let mut files = visit.files.iter();
    for (table, value) in case.as_object().unwrap_or(&Map::new()) {
        let rows = match value {
            Value::Array(rows) => rows.clone(),
            Value::Object(o) if SINGLE.contains(&table.as_str()) && !o.is_empty() => vec![value.clone()],
            _ => Vec::new(),
        };
        for row in rows {
            let told = (table.clone(), row.clone());
            if !OF_A_VISIT.contains(&table.as_str()) {
                if known.contains(&told) {
                    continue;
                }
                known.push(told);
            }
            let bytes = if table == "recording" { files.next() } else { None };
            let file = match bytes {
                Some((_, bytes)) => Some(hand.bench.records().files().keep(bytes)?),
                None => None,
            };
            let what = What::Told { table: table.clone(), row, job: Some(job.clone()), file };
            hand.put(car, what).await?;
        }
    }
    Ok(())
}

/// A visit at which the car was looked at and its owner wanted nothing done.
async fn looked_at_only(hand: &Hand<'_>, job: &Id, car: &Id) -> Result<(), Fail> {
    let on_job = Subject::Job(job.clone());
    let triage = ["wrong_fluid", "oil_or_noise", "leak"].map(|q| (q.to_owned(), false)).into();
    let answer = What::Answered {
        way: "refill_only".into(),
        gross: 0.0,
        currency: hand.bench.workshop().await?.currency,
        accepted: false,
    };
    for what in [What::JobOpened { car: car.clone(), triage }, answer, What::Signed {}, What::HandedOver {}] {
        hand.put(&on_job, what).await?;
    }
    Ok(())
}

/// What makes the interlocks of a step hold; `begun`: only what was done before the step was left open.
async fn conditions(hand: &mut Hand<'_>, job: &Id, s: &JobStep, other: &Id, begun: bool) -> Result<(), Fail> {
    let on_job = Subject::Job(job.clone());
    let step = s.step.id.clone();
    let rules = hand.bench.rules();
    for i in rules.interlocks.of(&s.step) {
        let word = || What::Confirmed { step: step.clone(), interlock: i.id.clone() };
        match i.holds {
            Holds::Confirmed if begun => {}
            Holds::Confirmed => {
                hand.put(&on_job, word()).await?;
            }
            Holds::Photo => {
                let file = Some(hand.bench.records().files().keep(&picture(150))?);
                let item = "Photo of the pouch on all seams".to_owned();
                hand.put(&on_job, What::ProofKept { step: step.clone(), item, file, note: None }).await?;
            }
            Holds::TwoLooks => {
                if !hand.bench.job(job).await?.job.looks.is_empty() {
                    continue;
                }
                let expiry = Some(date(hand.bench.now_ms() + 210 * DAY));
                let look = |how| What::Looked {
                    fluid: FLUID.into(),
                    lot: "26-1103".into(),
                    expiry: expiry.clone(),
                    how,
                };
                hand.put(&on_job, look(Look::Label)).await?;
                let second = Hand { bench: hand.bench, by: other.clone(), at_ms: hand.at_ms + MINUTE };
                second.put(&on_job, look(Look::Label)).await?;
            }
            Holds::WeighedBefore => {
                let gross_g = 412.0;
                hand.put(&on_job, What::Weighed { step: step.clone(), at: Pouring::Before, gross_g }).await?;
                if begun {
                    let start = hand.at_ms;
                    for (minute, gross_g) in [(2, 508.0), (4, 601.0), (6, 691.0)] {
                        hand.at_ms = start + minute * MINUTE;
                        let what = What::Weighed { step: step.clone(), at: Pouring::During, gross_g };
                        hand.put(&on_job, what).await?;
                    }
                }
            }
            Holds::WeighedAfter if begun => {}
            Holds::WeighedAfter => {
                hand.at_ms += 20 * MINUTE;
                let gross_g = 1760.0;
                hand.put(&on_job, What::Weighed { step: step.clone(), at: Pouring::After, gross_g }).await?;
            }
            Holds::Waited => {
                if begun {
                    // The clock runs while the bench is looked at.
                    hand.at_ms = hand.bench.now_ms() - 3 * MINUTE;
                }
                hand.put(&on_job, What::ClockStarted { step: step.clone(), minutes: i.minutes }).await?;
                if !begun {
                    hand.at_ms += 11 * MINUTE;
                    hand.put(&on_job, word()).await?;
                }
            }
            Holds::ValuesSaved => {
                let values = BTreeMap::from([
                    ("held_now".to_owned(), "210".to_owned()),
                    ("distance_since_fill".to_owned(), "71812".to_owned()),
                ]);
                hand.put(&on_job, What::ValuesSaved { values }).await?;
            }
            Holds::ValuesReadBack => {
                let values = BTreeMap::from([
                    ("held_now".to_owned(), "1800".to_owned()),
                    ("distance_since_fill".to_owned(), "0".to_owned()),
                ]);
                hand.put(&on_job, What::ValuesEntered { values: values.clone() }).await?;
                hand.put(&on_job, What::ValuesReadBack { values }).await?;
            }
        }
    }
    Ok(())
}

/// What a fill means for the car's life and the shelf, as the bench itself writes it.
async fn pour(hand: &Hand<'_>, job: &Id, tick: &Id) -> Result<(), Fail> {
    let facts = hand.bench.records().facts(&Subject::Job(job.clone())).await?;
    let Some(tick) = facts.into_iter().map(|f| f.entry).find(|e| e.id == *tick) else { return Ok(()) };
    bench::pages::job::poured(hand.bench, job, &tick).await
}

/// Readings after the work, at the points of those before: the same numbers. A refill by itself moves no pressure, and
/// the proof has to say so.
async fn after(hand: &Hand<'_>, c: &WorkshopCar, job: &Id, car: &Id) -> Result<(), Fail> {
    let form = Bench::new_id();
    for (n, r) in c.now.case.reading.iter().enumerate().filter(|(_, r)| r.point.is_some()) {
        let mut row = serde_json::to_value(r).map_err(|e| Fail::Machine(e.to_string()))?;
        if let Some(o) = row.as_object_mut() {
            o.insert("role".into(), "after".into());
        }
        let new = New {
            id: derived(&form, &n.to_string()),
            subject: Subject::Car(car.clone()),
            expected: None,
            happened_ms: hand.at_ms,
            recorded_ms: hand.at_ms,
            by: hand.by.clone(),
            corrects: None,
            what: What::Told { table: "reading".into(), row, job: Some(job.clone()), file: None },
        };
        hand.bench.add(new).await?;
    }
    Ok(())
}
