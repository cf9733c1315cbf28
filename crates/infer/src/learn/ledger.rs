//! Counts by workshop, which can be put together in any order and as often as one likes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Cars with *yes* and with *no*.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tally {
    /// Cars with *yes*.
    #[serde(default)]
    pub yes: u32,
    /// Cars with *no*.
    #[serde(default)]
    pub no: u32,
}

impl Tally {
    /// One more car.
    pub fn add(&mut self, yes: bool) {
        let side = if yes { &mut self.yes } else { &mut self.no };
        *side = side.saturating_add(1);
    }

    fn join(&mut self, more: Self) {
        self.yes = self.yes.saturating_add(more.yes);
        self.no = self.no.saturating_add(more.no);
    }
}

/// Everything one workshop counted up to a moment. Holds no car, no person, no day of a job.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkshopCounts {
    /// When the counts were made, UTC, RFC 3339: of two counts of one workshop the later one holds.
    pub made_at: String,
    /// Jobs counted.
    pub jobs: u32,
    /// Month of the first job, as YYYY-MM.
    pub from: String,
    /// Month of the last job, as YYYY-MM.
    pub until: String,
    /// The program that counted, with its version.
    pub program: String,
    /// Jobs in which each fault was confirmed, by identifier; `none` = nothing was wrong.
    #[serde(default)]
    pub confirmed: BTreeMap<String, u32>,
    /// Observations by the one fault confirmed, or `none`.
    #[serde(default)]
    pub observed: BTreeMap<String, BTreeMap<String, Tally>>,
    /// Repairs that held for 1000 km (*yes*) or did not, by fault.
    #[serde(default)]
    pub held: BTreeMap<String, Tally>,
}

/// Counts of several workshops.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ledger {
    /// By the name that each workshop made up for itself.
    #[serde(default)]
    pub workshops: BTreeMap<String, WorkshopCounts>,
}

impl Ledger {
    /// The ledger of one workshop.
    #[must_use]
    pub fn of(workshop: &str, counts: WorkshopCounts) -> Self {
        Self { workshops: [(workshop.to_owned(), counts)].into() }
    }

    /// Puts another ledger to this one. Of two counts of one workshop the later one stays (they are running
    /// totals, so the earlier one is contained in it), so putting the same ledger to it again changes nothing, and
    /// the order of ledgers does not matter.
    pub fn merge(&mut self, other: &Self) {
        for (workshop, counts) in &other.workshops {
            let there = self.workshops.entry(workshop.clone()).or_default();
            if *counts > *there {
                there.clone_from(counts);
            }
        }
    }

    /// The counts of all workshops together.
    #[must_use]
    pub fn sum(&self) -> WorkshopCounts {
        let mut out = WorkshopCounts::default();
        for c in self.workshops.values() {
            out.jobs = out.jobs.saturating_add(c.jobs);
            if out.from.is_empty() || (!c.from.is_empty() && c.from < out.from) {
                out.from.clone_from(&c.from);
            }
            if c.until > out.until {
                out.until.clone_from(&c.until);
            }
            for (f, n) in &c.confirmed {
                let there = out.confirmed.entry(f.clone()).or_default();
                *there = there.saturating_add(*n);
            }
            for (f, observed) in &c.observed {
                for (o, t) in observed {
                    out.observed.entry(f.clone()).or_default().entry(o.clone()).or_default().join(*t);
                }
            }
            for (f, t) in &c.held {
                out.held.entry(f.clone()).or_default().join(*t);
            }
        }
        out
    }

    /// What cannot be true of a ledger that came from outside: `(workshop, what)`. Counts that do not fit each other
    /// are refused, since nobody can correct them later.
    #[must_use]
    pub fn doubts(&self) -> Vec<(String, Doubt)> {
        let mut out = Vec::new();
        for (workshop, c) in &self.workshops {
            let mut say = |d: Doubt| out.push((workshop.clone(), d));
            for (f, n) in c.confirmed.iter().filter(|(_, n)| **n > c.jobs) {
                say(Doubt::MoreThanJobs { what: f.clone(), count: *n, jobs: c.jobs });
            }
            for (f, observed) in &c.observed {
                let found = c.confirmed.get(f).copied().unwrap_or(0);
                for (o, t) in observed.iter().filter(|(_, t)| t.yes.saturating_add(t.no) > found) {
                    let count = t.yes.saturating_add(t.no);
                    say(Doubt::MoreThanJobs { what: format!("{f}, {o}"), count, jobs: found });
                }
            }
            if c.made_at.len() < 10 {
                say(Doubt::NoTime);
            }
        }
        out
    }
}

/// What cannot be true of counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// More cars than there were.
    MoreThanJobs {
        /// Of what.
        what: String,
        /// How many.
        count: u32,
        /// Of how many.
        jobs: u32,
    },
    /// No moment at which they were made.
    NoTime,
}
