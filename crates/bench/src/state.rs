//! What the pages are made of: cars, jobs and people as the records leave them, and the answer to a car's facts.

use crate::fail::Fail;
use crate::kept::Kept;
use crate::overlay;
use crate::words::Lang;
use additive::fluid::Library;
use additive::message::Message;
use facts::Knowledge;
use facts::case::Case;
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use infer::Evidence;
use infer::assessment::{Assessment, Text};
use infer::balance::Balance;
use maud::Markup;
use recording::Recording;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use shop::chain::Chained;
use shop::record::counting;
use shop::work::{Job, Needs, Rules, permit};
use shop::{Entry, Id, Settings, Subject, What};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::{Read as _, Write as _};
use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use store::{Added, Made, New, Plain, Records, Standing};
use tokio::sync::Notify;

/// What the rest of the house lends the bench, in the reader's language: words for messages of the estimate and of
/// the fluids, and its drawings.
pub trait House: Send + Sync {
    /// A message of the estimate.
    fn text(&self, lang: Lang, text: &Text) -> String;
    /// A message of the fluids' side.
    fn message(&self, lang: Lang, message: &Message) -> String;
    /// Pressure against flow.
    fn pressure(&self, lang: Lang, assessment: &Assessment) -> Markup;
    /// Poured, dosed, left, unexplained.
    fn balance(&self, lang: Lang, balance: &Balance) -> Markup;
    /// Additive, soot and ash over the odometer, with what may come. `cases`: the case of every visit, the earliest
    /// first.
    fn life(&self, lang: Lang, assessment: &Assessment, cases: &[&Case]) -> Markup;
}

/// Tables of a case file that hold one thing; the others hold rows.
const SINGLE: [&str; 7] = ["car", "filter", "sensor", "reservoir", "oil", "fuel", "ambient"];
/// Tables whose rows speak of one visit.
const OF_A_VISIT: [&str; 5] = ["reading", "observation", "fault_memory", "recording", "ambient"];

/// Tables that make a visit: something was measured or observed.
const MEASURED: [&str; 4] = ["reading", "observation", "fault_memory", "recording"];

/// Answers, recordings and cars kept in memory.
const KEPT_ANSWERS: usize = 64;
/// See [`KEPT_ANSWERS`].
const KEPT_RECORDINGS: usize = 4;
/// See [`KEPT_ANSWERS`].
const KEPT_CARS: usize = 64;
/// What kept answers are called among the things that were worked out.
pub const ANSWER: &str = "answer";

/// Everything a page needs.
#[derive(Clone)]
pub struct Bench(Arc<Inner>);

struct Inner {
    records: Arc<dyn Records>,
    rules: Rules,
    fluids: Library,
    house: Arc<dyn House>,
    /// Answers by the hash of their facts.
    answers: Kept<String, Arc<Assessment>>,
    /// Recordings by the hash of their file.
    recordings: Kept<String, Arc<Recording>>,
    /// Cars at a number of facts and a job.
    cars: Kept<(Id, u64, Option<Id>), Arc<CarView>>,
    /// Jobs at a number of facts of the job and of its car.
    jobs: Kept<(Id, u64, u64), Arc<JobView>>,
    /// Containers by their printed lot, as far as they were asked for.
    lots: tokio::sync::Mutex<Vec<LotName>>,
    /// Which program this is: another one works everything out again.
    program: String,
    /// The facts of a car changed.
    changed: Notify,
    /// Cars whose day is not worked out yet, as far as somebody looked.
    owed: AtomicUsize,
}

/// What is known of a car's keeper, in a plain row beside the chain.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Keeper {
    /// Number plate.
    pub plate: String,
    /// The car in words: colour, body, engine.
    pub words: String,
    /// Owner.
    pub owner: String,
    /// Telephone or mail.
    pub contact: String,
}

impl Keeper {
    /// The words it is found by.
    #[must_use]
    pub fn sought(&self) -> String {
        [&self.plate, &self.words, &self.owner, &self.contact].map(String::as_str).join(" ")
    }
}

/// What the workshop's people are called.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Person {
    /// Name as it is shown.
    pub name: String,
    /// No longer here.
    pub left: bool,
}

/// The workshop's own settings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Workshop {
    /// Name on papers.
    pub name: String,
    /// Telephone on papers.
    pub phone: String,
    /// An hour of work before tax.
    pub labour_per_hour: f64,
    /// Value added tax, percent.
    pub tax_percent: f64,
    /// Currency.
    pub currency: String,
    /// How long a quote holds, days.
    pub valid_days: u32,
    /// Inner diameter of the filling tube, mm; none when nobody measured it.
    pub bore_mm: Option<f64>,
    /// Length of the filling tube, m.
    pub tube_m: Option<f64>,
    /// Height of the bottle above the pouch, cm.
    pub head_cm: Option<f64>,
    /// Area of the liquid in the bottle, cm2.
    pub bottle_cm2: Option<f64>,
}

impl Default for Workshop {
    fn default() -> Self {
        Self {
            name: String::new(),
            phone: String::new(),
            labour_per_hour: 0.0,
            tax_percent: 0.0,
            currency: "EUR".into(),
            valid_days: 14,
            bore_mm: None,
            tube_m: None,
            head_cm: None,
            bottle_cm2: None,
        }
    }
}

/// A fact about a car that still counts.
#[derive(Debug, Clone)]
pub struct ToldRow {
    /// The fact.
    pub entry: Entry,
    /// Table.
    pub table: String,
    /// Fields.
    pub row: Value,
    /// Job during which it was told.
    pub job: Option<Id>,
    /// File.
    pub file: Option<String>,
}

/// A car.
#[derive(Debug, Clone)]
pub struct CarView {
    /// Identifier.
    pub id: Id,
    /// Plate, words, owner.
    pub keeper: Keeper,
    /// Number of its facts.
    pub version: u64,
    /// Facts that count.
    pub told: Vec<ToldRow>,
    /// The case of its present visit.
    pub case: Case,
    /// What is unusual about it.
    pub warnings: Vec<String>,
    /// Files of the recordings of the case, by their hash.
    pub files: Vec<Option<String>>,
    /// The visits before this one, the earliest first.
    pub earlier: Vec<Visit>,
}

/// A visit of a car: what was known at its end.
#[derive(Debug, Clone, Serialize)]
pub struct Visit {
    /// The case then.
    pub case: Case,
    /// Files of the recordings of the case, by their hash.
    pub files: Vec<Option<String>>,
}

impl CarView {
    /// Odometer now, km.
    #[must_use]
    pub fn odometer_km(&self) -> Option<f64> {
        self.case.car.odometer_km
    }

    /// The case of every visit, the earliest first.
    #[must_use]
    pub fn cases(&self) -> Vec<&Case> {
        self.earlier.iter().map(|v| &v.case).chain([&self.case]).collect()
    }

    /// What the answer rests on, as one hash.
    fn key(&self) -> Result<String, Fail> {
        let facts = serde_json::to_string(&(&self.earlier, &self.case, &self.files))
            .map_err(|e| Fail::Machine(e.to_string()))?;
        Ok(blake3::hash(facts.as_bytes()).to_hex().to_string())
    }
}

/// A job with its car.
#[derive(Debug, Clone)]
pub struct JobView {
    /// Identifier.
    pub id: Id,
    /// The job.
    pub job: Job,
    /// Its car.
    pub car: CarView,
    /// What the car's record says about its fluid.
    pub needs: Needs,
    /// The complaint, word for word.
    pub complaint: String,
}

/// What a container is found by.
#[derive(Debug, Clone)]
pub struct LotName {
    /// Identifier.
    pub id: Id,
    /// Lot as printed.
    pub lot: String,
    /// Fluid.
    pub fluid: String,
}

/// Containers asked for at a time.
const LOTS_TOGETHER: u32 = 50;

/// People by identifier.
pub type People = BTreeMap<Id, Person>;

impl Bench {
    /// A bench over records, with the workshop's own numbers laid over the knowledge.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn open(records: Arc<dyn Records>, house: Arc<dyn House>) -> Result<Self, Fail> {
        let own = overlay::all(records.as_ref()).await?;
        let mut rules = Rules::built_in().map_err(|e| Fail::Machine(e.to_string()))?;
        let mut laid = String::new();
        for (one, _) in own.iter().filter(|o| o.1) {
            // A later version of the program may be stricter: a number that no longer fits is left out, and the page
            // of sources says so.
            if let Ok(k) = overlay::laid_over(&rules.knowledge, std::iter::once(one)) {
                rules.knowledge = k;
                laid += &serde_json::to_string(one).unwrap_or_default();
            }
        }
        Self::over(records, house, rules, &laid)
    }

    /// A bench over records, with the knowledge that is built in.
    ///
    /// # Errors
    /// When the built-in rules or fluids cannot be read.
    pub fn new(records: Arc<dyn Records>, house: Arc<dyn House>) -> Result<Self, Fail> {
        Self::over(records, house, Rules::built_in().map_err(|e| Fail::Machine(e.to_string()))?, "")
    }

    fn over(
        records: Arc<dyn Records>,
        house: Arc<dyn House>,
        rules: Rules,
        laid: &str,
    ) -> Result<Self, Fail> {
        let fluids = Library::from_texts([("fluids.toml", include_str!("../../../knowledge/fluids.toml"))])
            .map_err(|e| Fail::Machine(e.to_string()))?;
        Ok(Self(Arc::new(Inner {
            records,
            rules,
            fluids,
            house,
            answers: Kept::new(KEPT_ANSWERS),
            recordings: Kept::new(KEPT_RECORDINGS),
            cars: Kept::new(KEPT_CARS),
            jobs: Kept::new(KEPT_CARS),
            lots: tokio::sync::Mutex::default(),
            program: program(laid),
            changed: Notify::new(),
            owed: AtomicUsize::new(0),
        })))
    }

    /// The records.
    #[must_use]
    pub fn records(&self) -> &dyn Records {
        self.0.records.as_ref()
    }

    /// Rules of the work.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.0.rules
    }

    /// Fluids.
    #[must_use]
    pub fn fluids(&self) -> &Library {
        &self.0.fluids
    }

    /// Which program this is.
    #[must_use]
    pub fn program(&self) -> &str {
        &self.0.program
    }

    /// Told when the facts of a car change.
    #[must_use]
    pub fn changed(&self) -> &Notify {
        &self.0.changed
    }

    /// Cars whose day is not worked out yet, as far as somebody looked.
    #[must_use]
    pub fn owed(&self) -> &AtomicUsize {
        &self.0.owed
    }

    /// Words and drawings of the house.
    #[must_use]
    pub fn house(&self) -> &dyn House {
        self.0.house.as_ref()
    }

    /// Knowledge.
    #[must_use]
    pub fn knowledge(&self) -> &Knowledge {
        &self.0.rules.knowledge
    }

    /// Now, ms since 1970.
    #[must_use]
    pub fn now_ms(&self) -> i64 {
        jiff::Timestamp::now().as_millisecond()
    }

    /// A new identifier.
    #[must_use]
    pub fn new_id() -> Id {
        let uuid = uuid::Uuid::now_v7();
        let mut chance = [0; 10];
        chance.copy_from_slice(&uuid.as_bytes()[6..]);
        let ms = uuid.get_timestamp().map_or(0, |t| {
            let (s, ns) = t.to_unix();
            s.saturating_mul(1000).saturating_add(u64::from(ns / 1_000_000))
        });
        Id::v7(ms, &chance)
    }

    /// Everybody who works or worked here.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn people(&self) -> Result<People, Fail> {
        let rows = self.records().find("person", "", 1000).await?;
        Ok(rows
            .into_iter()
            .filter_map(|r| Some((Id::parse(&r.id).ok()?, serde_json::from_str(&r.body).ok()?)))
            .collect())
    }

    /// The workshop's settings.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn workshop(&self) -> Result<Workshop, Fail> {
        let row = self.records().plain("setting", "workshop").await?;
        Ok(row.and_then(|r| serde_json::from_str(&r.body).ok()).unwrap_or_default())
    }

    /// Settings of a quote: rates and the price list.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn prices(&self) -> Result<Settings, Fail> {
        let w = self.workshop().await?;
        let rows = self.records().find("price", "", 10_000).await?;
        Ok(Settings {
            schema: shop::quote::SCHEMA.into(),
            labour_per_hour: w.labour_per_hour,
            tax_percent: w.tax_percent,
            currency: w.currency,
            valid_days: w.valid_days,
            price: rows.into_iter().filter_map(|r| Some((r.id, r.body.parse().ok()?))).collect(),
        })
    }

    /// Writes a plain row with its audit row.
    ///
    /// # Errors
    /// When it cannot be written.
    pub async fn put(
        &self,
        kind: &str,
        id: &str,
        word: &str,
        body: &impl Serialize,
        by: &Id,
    ) -> Result<(), Fail> {
        let body = serde_json::to_string(body).map_err(|e| Fail::Machine(e.to_string()))?;
        let row = Plain { kind: kind.into(), id: id.into(), word: search_word(word), body };
        Ok(self.records().put(row, false, Some(by), self.now_ms()).await?)
    }

    /// A car's keeper.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn keeper(&self, car: &Id) -> Result<Keeper, Fail> {
        let row = self.records().plain("keeper", car.as_str()).await?;
        Ok(row.and_then(|r| serde_json::from_str(&r.body).ok()).unwrap_or_default())
    }

    /// Keepers of several cars.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn keepers(&self, cars: impl Iterator<Item = &Id>) -> Result<HashMap<Id, Keeper>, Fail> {
        let ids: Vec<String> = cars.map(ToString::to_string).collect();
        let rows = self.records().plains("keeper", &ids).await?;
        Ok(rows
            .into_iter()
            .filter_map(|r| Some((Id::parse(&r.id).ok()?, serde_json::from_str(&r.body).ok()?)))
            .collect())
    }

    /// A car with the facts of one of its jobs, or of the newest.
    ///
    /// # Errors
    /// When there is no such car.
    pub async fn car(&self, id: &Id, job: Option<&Id>) -> Result<CarView, Fail> {
        let subject = Subject::Car(id.clone());
        let Some(stands) = self.records().standing(&subject).await? else { return Err(Fail::NotFound) };
        let newest = match job {
            Some(j) => Some(j.clone()),
            None => self.records().jobs_of(id).await?.first().map(|s| s.subject.id().clone()),
        };
        let keeper = self.keeper(id).await?;
        let key = (id.clone(), stands.version, newest);
        if let Some(known) = self.0.cars.get(&key) {
            return Ok(CarView { keeper, ..(*known).clone() });
        }
        let facts = self.records().facts(&subject).await?;
        let car = view(id, keeper, &facts, key.2.as_ref());
        self.0.cars.put((key.0, car.version, key.2), Arc::new(car.clone()));
        Ok(car)
    }

    /// A job with its car.
    ///
    /// # Errors
    /// When there is no such job.
    pub async fn job(&self, id: &Id) -> Result<JobView, Fail> {
        let subject = Subject::Job(id.clone());
        let stands = self.records().standing(&subject).await?;
        let Some((stands, car)) = stands.and_then(|s| s.about.clone().map(|car| (s, car))) else {
            return Err(Fail::NotFound);
        };
        let complaint = self.records().plain("complaint", id.as_str()).await?;
        let complaint = complaint.and_then(|c| serde_json::from_str(&c.body).ok()).unwrap_or_default();
        let of_car = self.records().standing(&Subject::Car(car.clone())).await?.map_or(0, |s| s.version);
        if let Some(known) = self.0.jobs.get(&(id.clone(), stands.version, of_car)) {
            let keeper = self.keeper(&car).await?;
            let mut view = (*known).clone();
            (view.complaint, view.car.keeper) = (complaint, keeper);
            return Ok(view);
        }
        let facts = self.records().facts(&subject).await?;
        let entries: Vec<Entry> = facts.into_iter().map(|f| f.entry).collect();
        let car = self.car(&car, Some(id)).await?;
        let needs = self.needs(&car.case);
        let key = (id.clone(), entries.len() as u64, car.version);
        let job = Job::of(&entries, self.rules(), &needs);
        let view = JobView { id: id.clone(), job, car, needs, complaint };
        self.0.jobs.put(key, Arc::new(view.clone()));
        Ok(view)
    }

    /// Several jobs with their cars, without their complaints.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn jobs(&self, list: &[Standing]) -> Result<Vec<JobView>, Fail> {
        let cars: Vec<String> =
            list.iter().filter_map(|s| s.about.as_ref()).map(ToString::to_string).collect();
        let stands = self.records().standings("car", &cars).await?;
        let version = |car: &Id| stands.iter().find(|s| s.subject.id() == car).map_or(0, |s| s.version);
        let keepers = self.keepers(list.iter().filter_map(|s| s.about.as_ref())).await?;
        let mut out = Vec::with_capacity(list.len());
        for s in list {
            let (id, Some(car)) = (s.subject.id(), &s.about) else { continue };
            let known = self.0.jobs.get(&(id.clone(), s.version, version(car)));
            let mut view = match known {
                Some(known) => (*known).clone(),
                None => self.job(id).await?,
            };
            view.car.keeper = keepers.get(car).cloned().unwrap_or_default();
            out.push(view);
        }
        Ok(out)
    }

    /// Containers whose printed lot holds a word. Names never change, so only containers that came since the last
    /// question are read.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn lots_like(&self, word: &str) -> Result<Vec<LotName>, Fail> {
        let mut known = self.0.lots.lock().await;
        let ids: HashSet<Id> = known.iter().map(|l| l.id.clone()).collect();
        let mut fresh = if known.is_empty() { self.records().all("lot").await? } else { Vec::new() };
        let mut before = i64::MAX;
        while !known.is_empty() {
            let part = self.records().newest("lot", before, LOTS_TOGETHER).await?;
            before = part.last().map_or(i64::MIN, |s| s.opened_ms);
            let (count, there) = (part.len(), fresh.len());
            fresh.extend(part.into_iter().filter(|s| !ids.contains(s.subject.id())));
            if count < LOTS_TOGETHER as usize || fresh.len() == there {
                break;
            }
        }
        for s in fresh {
            let first = self.records().facts(&s.subject).await?.into_iter().next().map(|f| f.entry.what);
            if let Some(What::LotTaken { fluid, lot, .. }) = first {
                known.push(LotName { id: s.subject.id().clone(), lot, fluid });
            }
        }
        Ok(known.iter().filter(|l| search_word(&l.lot).contains(word)).cloned().collect())
    }

    /// Records were taken in: what was kept in memory of their order no longer holds.
    pub async fn taken_in(&self) {
        self.0.lots.lock().await.clear();
        self.changed().notify_one();
    }

    /// What a car's record says about the fluid it takes.
    #[must_use]
    pub fn needs(&self, case: &Case) -> Needs {
        let Some(wanted) = case.reservoir.fluid.as_deref().and_then(|f| self.fluids().get(f).ok()) else {
            return Needs::default();
        };
        let same = |g: &Option<String>| g.is_some() && *g == wanted.generation;
        let mut needs = Needs::default();
        for f in self.fluids().iter().filter(|f| f.id == wanted.id || same(&f.generation)) {
            needs.right.insert(f.id.clone());
            if let Ok(d) = f.density_kg_m3(20.0) {
                needs.density.insert(f.id.clone(), (d.low, d.high));
            }
        }
        needs
    }

    /// Adds a fact to the records, judged by the rules.
    ///
    /// # Errors
    /// Why it is refused.
    pub async fn add(&self, new: New) -> Result<Added, Fail> {
        if let (What::Told { .. }, Subject::Car(car)) = (&new.what, &new.subject) {
            self.check_told(car, &new).await?;
        }
        let needs = match &new.subject {
            Subject::Job(id) => match self.job(id).await {
                Ok(job) => job.needs,
                Err(_) => Needs::default(),
            },
            _ => Needs::default(),
        };
        let rules = self.rules();
        let of_a_car = matches!(new.subject, Subject::Car(_));
        let added = self.records().add(new, &|before, e| permit(before, e, rules, &needs)).await?;
        if of_a_car {
            self.changed().notify_one();
        }
        Ok(added)
    }

    /// A fact about a car must leave a case that can be read.
    async fn check_told(&self, car: &Id, new: &New) -> Result<(), Fail> {
        let mut facts = self.records().facts(&Subject::Car(car.clone())).await?;
        let job = match &new.what {
            What::Told { job, .. } => job.clone(),
            _ => None,
        };
        facts.push(Chained {
            entry: Entry {
                id: new.id.clone(),
                subject: new.subject.clone(),
                version: facts.len() as u64 + 1,
                happened_ms: new.happened_ms,
                recorded_ms: new.recorded_ms,
                by: new.by.clone(),
                corrects: new.corrects.clone(),
                what: new.what.clone(),
            },
            hash: String::new(),
        });
        let entries: Vec<Entry> = facts.into_iter().map(|f| f.entry).collect();
        let told = told(&entries);
        read_case(&told, job.as_ref()).map(|_| ()).map_err(Fail::Facts)
    }

    /// A recording by the hash of its file.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn recording(&self, hash: &str) -> Result<Option<Arc<Recording>>, Fail> {
        let key = hash.to_owned();
        if let Some(known) = self.0.recordings.get(&key) {
            return Ok(Some(known));
        }
        let Some(bytes) = self.records().files().get(hash)? else { return Ok(None) };
        let read = Arc::new(recording::read_bytes("recording", &bytes, &recording::Options::default()));
        self.0.recordings.put(key, read.clone());
        Ok(Some(read))
    }

    /// The answer to a car: one posterior over its life up to the present visit, kept by the hash of its facts.
    ///
    /// # Errors
    /// When a recording cannot be read or the machine stops the work.
    pub async fn answer(&self, car: &CarView) -> Result<Arc<Assessment>, Fail> {
        let key = car.key()?;
        if let Some(known) = self.0.answers.get(&key) {
            return Ok(known);
        }
        if let Some(made) = self.records().made(ANSWER, &key).await?.filter(|m| m.program == self.0.program)
            && let Some(known) = unpacked(&made.body)
        {
            let known = Arc::new(known);
            self.0.answers.put(key, known.clone());
            return Ok(known);
        }
        let answer = self.attempt(car).await?;
        if let Some(body) = packed(&answer) {
            let (kind, program) = (ANSWER.to_owned(), self.0.program.clone());
            let rank = self.now_ms();
            // Kept or not, the answer stands.
            let _ = self
                .records()
                .put_made(Made { kind, id: key, program, version: car.version, rank, body })
                .await;
        }
        Ok(answer)
    }

    /// The answer to a car whose facts are not in the records yet, such as readings while they are typed.
    ///
    /// # Errors
    /// When a recording cannot be read or the machine stops the work.
    pub async fn attempt(&self, car: &CarView) -> Result<Arc<Assessment>, Fail> {
        let key = car.key()?;
        if let Some(known) = self.0.answers.get(&key) {
            return Ok(known);
        }
        let bench = self.clone();
        let mut visits = car.earlier.clone();
        visits.push(Visit { case: car.case.clone(), files: car.files.clone() });
        let made = tokio::task::spawn_blocking(move || bench.assess(&visits))
            .await
            .map_err(|e| Fail::Machine(e.to_string()))??;
        self.0.answers.put(key, made.clone());
        Ok(made)
    }

    fn assess(&self, visits: &[Visit]) -> Result<Arc<Assessment>, Fail> {
        let recordings = visits.iter().map(|v| {
            let of = |file: &Option<String>| match file {
                Some(hash) => Ok(self.recording(hash)?.map(|r| (*r).clone())),
                None => Ok(None),
            };
            v.files.iter().map(of).collect::<Result<Vec<_>, Fail>>()
        });
        let recordings = recordings.collect::<Result<Vec<_>, Fail>>()?;
        let evidence: Vec<Evidence> = visits
            .iter()
            .zip(&recordings)
            .map(|(v, r)| Evidence { case: &v.case, recordings: r, knowledge: self.knowledge() })
            .collect();
        let made = match &evidence[..] {
            [one] => Some(infer::assess(one)),
            all => infer::life::assess(all),
        };
        made.map(Arc::new).ok_or_else(|| Fail::Machine("a car without a visit".into()))
    }
}

/// An answer as it is kept; none when it cannot be written.
fn packed(a: &Assessment) -> Option<Vec<u8>> {
    let mut out = DeflateEncoder::new(Vec::new(), Compression::fast());
    out.write_all(&postcard::to_stdvec(a).ok()?).ok()?;
    out.finish().ok()
}

/// Bytes of an answer at most.
const ANSWER_BYTES: u64 = 4 << 20;

fn unpacked(body: &[u8]) -> Option<Assessment> {
    let mut bytes = Vec::new();
    DeflateDecoder::new(body).take(ANSWER_BYTES).read_to_end(&mut bytes).ok()?;
    postcard::from_bytes(&bytes).ok()
}

/// Version and build of this program and the numbers laid over its knowledge: an answer that another one made may
/// differ.
fn program(laid: &str) -> String {
    let build = std::env::current_exe().and_then(std::fs::metadata).ok();
    let at = build.as_ref().and_then(|m| m.modified().ok());
    let at = at.and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok()).map_or(0, |d| d.as_secs());
    let laid =
        if laid.is_empty() { String::new() } else { blake3::hash(laid.as_bytes()).to_hex().to_string() };
    format!("{} {} {at} {laid}", env!("CARGO_PKG_VERSION"), build.map_or(0, |m| m.len()))
}

/// A word as it is searched for: upper case, letters and digits only.
#[must_use]
pub fn search_word(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_uppercase).collect()
}

fn told(entries: &[Entry]) -> Vec<ToldRow> {
    counting(entries)
        .into_iter()
        .filter_map(|e| match &e.what {
            What::Told { table, row, job, file } => Some(ToldRow {
                entry: e.clone(),
                table: table.clone(),
                row: row.clone(),
                job: job.clone(),
                file: file.clone(),
            }),
            _ => None,
        })
        .collect()
}

fn view(id: &Id, keeper: Keeper, facts: &[Chained], job: Option<&Id>) -> CarView {
    let entries: Vec<Entry> = facts.iter().map(|f| f.entry.clone()).collect();
    let told = told(&entries);
    // Facts were checked when they came in; a later version of the program may be stricter.
    let (case, warnings) = match read_case(&told, job) {
        Ok(read) => read,
        Err(problems) => (Case { schema: facts::case::SCHEMA.into(), ..Case::default() }, problems),
    };
    let files = files_of(&told, job);
    let earlier = earlier(&told, job);
    CarView { id: id.clone(), keeper, version: entries.len() as u64, told, case, warnings, files, earlier }
}

fn files_of(told: &[ToldRow], job: Option<&Id>) -> Vec<Option<String>> {
    let own = told.iter().filter(|t| t.table == "recording" && t.job.as_ref() == job);
    own.map(|t| t.file.clone()).collect()
}

/// The visits before that of `job` at which something was measured or observed, each with the facts that were told
/// until its end.
fn earlier(told: &[ToldRow], job: Option<&Id>) -> Vec<Visit> {
    let mut out = Vec::new();
    let mut seen: Vec<&Id> = Vec::new();
    let before = told.iter().take_while(|t| job.is_none() || t.job.as_ref() != job);
    for visit in before.filter(|t| MEASURED.contains(&t.table.as_str())).filter_map(|t| t.job.as_ref()) {
        if seen.contains(&visit) {
            continue;
        }
        seen.push(visit);
        let end = told.iter().rposition(|t| t.job.as_ref() == Some(visit)).map_or(0, |n| n + 1);
        let until = told.get(..end).unwrap_or_default();
        if let Ok((case, _)) = read_case(until, Some(visit)) {
            out.push(Visit { case, files: files_of(until, Some(visit)) });
        }
    }
    out
}

/// The case that the facts make, with what is unusual about it; the facts of other visits than `job` that speak of
/// one visit only are left out.
///
/// # Errors
/// What is wrong, one sentence each.
pub fn read_case(told: &[ToldRow], job: Option<&Id>) -> Result<(Case, Vec<String>), Vec<String>> {
    let mut case = Map::new();
    case.insert("schema".into(), facts::case::SCHEMA.into());
    for t in told {
        if OF_A_VISIT.contains(&t.table.as_str()) && t.job.as_ref() != job {
            continue;
        }
        if SINGLE.contains(&t.table.as_str()) {
            let place = case.entry(t.table.clone()).or_insert_with(|| Value::Object(Map::new()));
            if let (Value::Object(to), Value::Object(from)) = (place, &t.row) {
                for (k, v) in from {
                    to.insert(k.clone(), v.clone());
                }
            }
        } else {
            let place = case.entry(t.table.clone()).or_insert_with(|| Value::Array(Vec::new()));
            if let Value::Array(rows) = place {
                rows.push(t.row.clone());
            }
        }
    }
    let text = toml::to_string(&Value::Object(case)).map_err(|e| vec![e.to_string()])?;
    match facts::load::read_case(&text, "facts") {
        Ok(read) => Ok((read.case, read.warnings.iter().map(said).collect())),
        Err(e) => Err(e.findings.iter().map(said).collect()),
    }
}

/// What is wrong and what to do, without a line of a file that nobody wrote.
fn said(f: &facts::finding::Finding) -> String {
    let mut text = f.what.clone();
    if !f.advice.is_empty() {
        text += "; ";
        text += &f.advice;
    }
    if !text.ends_with('.') {
        text.push('.');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_a_kept_answer_is_the_answer() {
        let text = "schema = \"sootwright.case/1\"\n[car]\nodometer_km = 148000\n[reservoir]\nkind = \"pouch\"\n\
                    capacity_l = 2.1\n[[reading]]\nquantity = \"differential_pressure\"\nvalue = 12\nunit = \"hPa\"\n\
                    point = \"hot_idle\"\n[[fault_memory]]\ncodes = [\"P2463\"]\n";
        let case = facts::load::read_case(text, "case").expect("case").case;
        let evidence = Evidence { case: &case, recordings: &[], knowledge: Knowledge::built_in() };
        let answer = infer::assess(&evidence);
        let body = packed(&answer).expect("packed");
        let again = unpacked(&body).expect("unpacked");
        assert_eq!(format!("{again:?}"), format!("{answer:?}"));
        assert!(unpacked(body.get(..body.len() / 2).expect("half")).is_none(), "a torn one is no answer");
    }
}
