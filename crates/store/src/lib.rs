//! Where the workshop's records lie: facts, seals and plain rows in one SQLite file, photos and recordings in a
//! folder beside it, each under the hash of its content.
//!
//! [`Records`] is what the rest of the house sees. The SQL keeps to what PostgreSQL also takes, so that a chain
//! of workshops can be served by a second implementation.

pub mod export;
pub mod files;
mod sql;

pub use files::Files;
#[cfg(feature = "postgres")]
pub use sql::Postgres;
pub use sql::Sqlite;

use shop::chain::{Broken, Chained, Seal};
use shop::record::{Audit, Entry, Id, Subject, What};
use shop::work::Refusal;
use std::future::Future;
use std::pin::Pin;

/// What a method of [`Records`] gives, later.
pub type Later<'a, T> = Pin<Box<dyn Future<Output = Result<T, Error>> + Send + 'a>>;

/// Judges a fact against the facts of its subject that are there already.
pub type Judge<'a> = &'a (dyn Fn(&[Entry], &Entry) -> Result<(), Refusal> + Send + Sync);

/// A fact to be added.
#[derive(Debug, Clone, PartialEq)]
pub struct New {
    /// Identifier, made by whoever made the fact.
    pub id: Id,
    /// What it is about.
    pub subject: Subject,
    /// How many facts of the subject its maker knew; none when it may go on top of whatever is there.
    pub expected: Option<u64>,
    /// When it happened, ms since 1970.
    pub happened_ms: i64,
    /// When it reached the records, ms since 1970.
    pub recorded_ms: i64,
    /// Who signs it.
    pub by: Id,
    /// The fact that it replaces.
    pub corrects: Option<Id>,
    /// What it says.
    pub what: What,
}

/// What became of a fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Added {
    /// The fact as it is kept.
    pub chained: Chained,
    /// It was there already: nothing was done.
    pub repeated: bool,
    /// The seal, when it was a signature.
    pub seal: Option<Seal>,
}

/// Where a subject stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// The subject.
    pub subject: Subject,
    /// Number of its facts.
    pub version: u64,
    /// A job's car.
    pub about: Option<Id>,
    /// A job that was not handed over; a lot that was not blocked.
    pub open: bool,
    /// When it was opened, ms since 1970.
    pub opened_ms: i64,
    /// When its newest fact was recorded, ms since 1970.
    pub changed_ms: i64,
}

/// A plain row.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plain {
    /// Table: `person`, `keeper`, `complaint`, `price`, `setting`.
    pub kind: String,
    /// Row.
    pub id: String,
    /// A word to find it by (a plate, a name), in upper case without blanks.
    pub word: String,
    /// Content, JSON.
    pub body: String,
}

/// Something worked out from the facts, kept because working it out takes long. It may be lost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// What it is.
    pub kind: String,
    /// What it is of.
    pub id: String,
    /// The program that made it: another one makes it again.
    pub program: String,
    /// Number of the facts of its subject when it was made.
    pub version: u64,
    /// Its place in a list.
    pub rank: i64,
    /// Content.
    pub body: Vec<u8>,
}

/// Why the records did not do as asked.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Somebody else added a fact meanwhile.
    #[error("somebody else added a fact meanwhile: {found} facts are there, {expected} were known")]
    Conflict {
        /// Facts that were known.
        expected: u64,
        /// Facts that are there.
        found: u64,
    },
    /// The identifier is taken by another fact.
    #[error("the identifier {0} is taken by another fact; make a new one for each fact")]
    Taken(Id),
    /// The rules do not allow it.
    #[error("{0}")]
    Refused(#[from] Refusal),
    /// The chain does not verify.
    #[error("{0}")]
    Broken(#[from] Broken),
    /// The database.
    #[error("the database says: {0}")]
    Database(#[from] sqlx::Error),
    /// The database could not be brought up to this version.
    #[error("the database cannot be brought up to this version: {0}")]
    Migration(#[from] sqlx::migrate::MigrateError),
    /// A file.
    #[error("{path}: {why}")]
    File {
        /// Path.
        path: String,
        /// Why.
        why: std::io::Error,
    },
    /// A row that cannot be read.
    #[error("a row cannot be read: {0}")]
    Unreadable(String),
}

/// The workshop's records.
pub trait Records: Send + Sync {
    /// Adds a fact: judged, numbered and chained in one writing transaction. A fact that is there already (same
    /// identifier, same content) is given back and nothing is done.
    fn add<'a>(&'a self, new: New, judge: Judge<'a>) -> Later<'a, Added>;
    /// Takes in facts as they were exported, each at the end of its subject, all or none. Facts of one subject stand
    /// together, in their order.
    fn restore(&self, facts: Vec<Chained>) -> Later<'_, ()>;
    /// Takes in seals as they were exported, in their order, all or none.
    fn restore_seals(&self, seals: Vec<Seal>) -> Later<'_, ()>;
    /// Takes in an audit row as it was exported.
    fn restore_audit(&self, audit: Audit) -> Later<'_, ()>;
    /// The facts of a subject, in their order.
    fn facts<'a>(&'a self, subject: &'a Subject) -> Later<'a, Vec<Chained>>;
    /// Where a subject stands.
    fn standing<'a>(&'a self, subject: &'a Subject) -> Later<'a, Option<Standing>>;
    /// Open subjects of a kind, the oldest first.
    fn open<'a>(&'a self, kind: &'a str) -> Later<'a, Vec<Standing>>;
    /// Every subject of a kind, the oldest first.
    fn all<'a>(&'a self, kind: &'a str) -> Later<'a, Vec<Standing>>;
    /// Subjects of a kind, the newest first: at most `count`, opened before `before_ms`.
    fn newest<'a>(&'a self, kind: &'a str, before_ms: i64, count: u32) -> Later<'a, Vec<Standing>>;
    /// Jobs of a car, the newest first.
    fn jobs_of<'a>(&'a self, car: &'a Id) -> Later<'a, Vec<Standing>>;
    /// Every seal, in their order.
    fn seals(&self) -> Later<'_, Vec<Seal>>;
    /// The seal of a job.
    fn seal_of<'a>(&'a self, job: &'a Id) -> Later<'a, Option<Seal>>;
    /// Writes a plain row, or erases it, and its audit row.
    fn put<'a>(&'a self, row: Plain, erase: bool, by: Option<&'a Id>, at_ms: i64) -> Later<'a, ()>;
    /// Takes in plain rows as they were exported; their audit rows come with the export.
    fn restore_plains(&self, rows: Vec<Plain>) -> Later<'_, ()>;
    /// A plain row.
    fn plain<'a>(&'a self, kind: &'a str, id: &'a str) -> Later<'a, Option<Plain>>;
    /// Plain rows of a kind by word; a part of the word is enough.
    fn find<'a>(&'a self, kind: &'a str, word: &'a str, count: u32) -> Later<'a, Vec<Plain>>;
    /// Plain rows of a kind by their identifiers, in no order.
    fn plains<'a>(&'a self, kind: &'a str, ids: &'a [String]) -> Later<'a, Vec<Plain>>;
    /// Where several subjects of a kind stand, in no order.
    fn standings<'a>(&'a self, kind: &'a str, ids: &'a [String]) -> Later<'a, Vec<Standing>>;
    /// Something that was worked out.
    fn made<'a>(&'a self, kind: &'a str, id: &'a str) -> Later<'a, Option<Made>>;
    /// Things of a kind behind a rank and identifier, by rank and identifier.
    fn made_from<'a>(&'a self, kind: &'a str, from: (i64, &'a str), count: u32) -> Later<'a, Vec<Made>>;
    /// Keeps something that was worked out.
    fn put_made(&self, new: Made) -> Later<'_, ()>;
    /// Forgets what other programs made, and things of a kind ranked below `below`.
    fn forget_made<'a>(&'a self, program: &'a str, kind: &'a str, below: i64) -> Later<'a, ()>;
    /// Subjects of a kind whose facts are more than `made` was made from, the last changed first.
    fn stale<'a>(&'a self, kind: &'a str, made: &'a str, count: u32) -> Later<'a, Vec<Standing>>;
    /// Every audit row, in their order.
    fn audit(&self) -> Later<'_, Vec<Audit>>;
    /// Checks every chain and every seal; gives how many facts and seals.
    fn verify(&self) -> Later<'_, (u64, u64)>;
    /// Files.
    fn files(&self) -> &Files;
}
