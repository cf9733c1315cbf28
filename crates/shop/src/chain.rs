//! The chain: every fact carries the hash of all before it, and a signed job is sealed.

use crate::record::{Entry, Id, What};
use serde::{Deserialize, Serialize};

/// The hash before the first fact of a subject and before the first seal.
pub const BEGIN: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// A fact with its place in the chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chained {
    /// The fact.
    pub entry: Entry,
    /// Hash over the hash before and this fact.
    pub hash: String,
}

/// A signed job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Place among all seals of the workshop, from 1.
    pub number: u64,
    /// The job.
    pub job: Id,
    /// Place of the signature among the job's facts.
    pub version: u64,
    /// Hash of the job's facts up to the signature.
    pub head: String,
    /// Hash of the seal before.
    pub previous: String,
    /// Hash over all of this: the code that stands on the paper.
    pub hash: String,
}

/// Something in the chain is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    /// A fact is missing or stands in another place.
    #[error("fact {expected} of the {kind} {subject} is missing; fact {found} stands in its place")]
    Gap {
        /// Kind of subject.
        kind: &'static str,
        /// Subject.
        subject: String,
        /// Place looked for.
        expected: u64,
        /// Place found.
        found: u64,
    },
    /// A fact was altered.
    #[error("fact {version} of the {kind} {subject} was altered after it was written")]
    Altered {
        /// Kind of subject.
        kind: &'static str,
        /// Subject.
        subject: String,
        /// Place.
        version: u64,
    },
    /// A seal does not fit its job or the seal before it.
    #[error("seal {number} of job {job} does not fit: {why}")]
    Seal {
        /// Number.
        number: u64,
        /// Job.
        job: String,
        /// What does not fit.
        why: &'static str,
    },
    /// A fact cannot be written down (a number that is no number).
    #[error("fact cannot be written: {0}")]
    Unwritable(String),
}

/// The hash of a fact that follows `previous`.
///
/// # Errors
/// [`Broken::Unwritable`] when the fact has no written form.
pub fn link(previous: &str, entry: &Entry) -> Result<String, Broken> {
    let line = serde_json::to_string(entry).map_err(|e| Broken::Unwritable(e.to_string()))?;
    let mut h = blake3::Hasher::new();
    h.update(previous.as_bytes()).update(b"\n").update(line.as_bytes());
    Ok(h.finalize().to_hex().to_string())
}

/// Checks the facts of one subject, in their order; gives the head.
///
/// # Errors
/// The first thing that is not as it was written.
pub fn verify(facts: &[Chained]) -> Result<String, Broken> {
    let mut head = BEGIN.to_owned();
    for (i, f) in facts.iter().enumerate() {
        let place = i as u64 + 1;
        let (kind, subject) = (f.entry.subject.kind(), f.entry.subject.id().to_string());
        if f.entry.version != place {
            return Err(Broken::Gap { kind, subject, expected: place, found: f.entry.version });
        }
        head = link(&head, &f.entry)?;
        if head != f.hash {
            return Err(Broken::Altered { kind, subject, version: place });
        }
    }
    Ok(head)
}

impl Seal {
    /// Seals a job whose newest fact is its signature.
    #[must_use]
    pub fn new(number: u64, job: Id, version: u64, head: String, previous: String) -> Self {
        let mut seal = Self { number, job, version, head, previous, hash: String::new() };
        seal.hash = seal.code();
        seal
    }

    fn code(&self) -> String {
        let text =
            format!("{}\n{}\n{}\n{}\n{}", self.previous, self.number, self.job, self.version, self.head);
        blake3::hash(text.as_bytes()).to_hex().to_string()
    }

    /// Checks the seal against its job's facts (whose chain was verified) and the seal before it.
    ///
    /// # Errors
    /// What does not fit.
    pub fn verify(&self, job: &[Chained], previous: &str) -> Result<(), Broken> {
        let broken = |why| Broken::Seal { number: self.number, job: self.job.to_string(), why };
        if self.hash != self.code() {
            return Err(broken("it was altered"));
        }
        if self.previous != previous {
            return Err(broken("a seal before it is missing or altered"));
        }
        let signature = usize::try_from(self.version).ok().and_then(|v| job.get(v.checked_sub(1)?));
        let Some(signature) = signature else { return Err(broken("the signature is missing")) };
        if !matches!(signature.entry.what, What::Signed {}) || signature.entry.subject.id() != &self.job {
            return Err(broken("the fact it seals is no signature of this job"));
        }
        if signature.hash != self.head {
            return Err(broken("the job's facts are not those that were signed"));
        }
        Ok(())
    }
}
