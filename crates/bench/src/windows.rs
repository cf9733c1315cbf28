//! When each car falls due: worked out in the background and kept, so that the list covers every car and is there at
//! once.

use crate::fail::Fail;
use crate::state::{Bench, CarView};
use infer::assessment::Assessment;
use infer::balance::Window;
use infer::due::{Says, What};
use serde::{Deserialize, Serialize};
use shop::Id;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};
use store::{Made, Standing};

/// What the rows are called among the things that were worked out.
pub const KIND: &str = "due";
/// Cars looked up at a time, and counted at most.
pub const BATCH: u32 = 200;
/// Longest wait for a change, after which the list is looked through all the same.
const IDLE: Duration = Duration::from_secs(3600);
const DAY_MS: f64 = 86_400_000.0;

/// When a car falls due.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DueOf {
    /// Additive left, L: 5, 50 and 95 %; none where the facts do not tell it.
    pub left_l: Option<[f64; 3]>,
    /// What comes, the nearest first; windows that say nothing are left out.
    pub coming: Vec<Coming>,
}

/// A window of days that holds eight times in ten.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Coming {
    /// `additive`, `ash` or `soot`.
    pub what: String,
    /// Early end, ms since 1970.
    pub from_ms: i64,
    /// Middle.
    pub middle_ms: i64,
    /// Late end.
    pub to_ms: i64,
}

impl DueOf {
    /// From the answer; `at_ms`: the day of the newest facts, of which the answer speaks.
    #[must_use]
    pub fn of(a: &Assessment, at_ms: i64) -> Self {
        let left_l = a.additive.as_ref().filter(|b| b.left_l.told).map(|b| b.left_l);
        let days_of = |d: &infer::due::Due| {
            let by_balance = a.additive.as_ref().filter(|_| d.what == What::Additive);
            d.days.or(by_balance.map(|b| b.due_days))
        };
        let mut coming: Vec<Coming> = a
            .due
            .iter()
            .filter(|d| d.told && d.says == Says::Window)
            .filter_map(|d| Some((d.what, days_of(d)?)))
            .filter(|(_, days)| days.p90.is_finite())
            .map(|(what, days)| window(what, days, at_ms))
            .collect();
        coming.sort_by_key(|c| (c.from_ms, c.middle_ms));
        Self { left_l: left_l.map(|e| [e.p05, e.p50, e.p95]), coming }
    }

    /// Place in the list: the first day that something may fall due.
    #[must_use]
    pub fn rank(&self) -> i64 {
        self.coming.iter().map(|c| c.from_ms).min().unwrap_or(i64::MAX)
    }
}

fn window(what: What, days: Window, at_ms: i64) -> Coming {
    let at = |d: f64| at_ms.saturating_add((d * DAY_MS) as i64);
    let (from_ms, middle_ms, to_ms) = (at(days.p10), at(days.p50), at(days.p90));
    Coming { what: what.name().into(), from_ms, middle_ms, to_ms }
}

/// A row of the list.
#[derive(Debug, Clone)]
pub struct Row {
    /// Its place.
    pub rank: i64,
    /// Car.
    pub car: Id,
    /// When it falls due.
    pub due: DueOf,
}

impl Bench {
    /// Cars behind a place in the list, the first due first.
    ///
    /// # Errors
    /// When the records cannot be read.
    pub async fn due_from(&self, from: (i64, &str), count: u32) -> Result<Vec<Row>, Fail> {
        let rows = self.records().made_from(KIND, from, count).await?;
        let read = |m: Made| {
            Some(Row {
                rank: m.rank,
                car: Id::parse(&m.id).ok()?,
                due: serde_json::from_slice(&m.body).ok()?,
            })
        };
        Ok(rows.into_iter().filter_map(read).filter(|r| r.rank < i64::MAX).collect())
    }

    /// Works out what is not known yet, car by car, for as long as the bench is open. Pages come first: after each
    /// car it rests as long as it worked.
    pub async fn keep_due(self) {
        let old = self.now_ms() - 90 * 86_400_000;
        // What cannot be forgotten only takes room.
        let _ = self.records().forget_made(self.program(), crate::state::ANSWER, old).await;
        // Asked once, the names of all containers are there for the next question.
        let _ = self.lots_like("").await;
        loop {
            let stale = self.records().stale("car", KIND, BATCH).await.unwrap_or_default();
            let mut made = 0;
            self.owed().store(stale.len(), Ordering::Relaxed);
            for s in &stale {
                let start = Instant::now();
                made += usize::from(self.make_due(s).await.is_ok());
                tokio::time::sleep(start.elapsed()).await;
                if stale.len() < BATCH as usize {
                    self.owed().store(stale.len() - made, Ordering::Relaxed);
                }
            }
            // Nothing to do, or nothing that can be done now.
            if made == 0 {
                let _ = tokio::time::timeout(IDLE, self.changed().notified()).await;
            }
        }
    }

    async fn make_due(&self, s: &Standing) -> Result<(), Fail> {
        let car = self.car(s.subject.id(), None).await?;
        // Answers themselves are kept when somebody looks: those of every car would fill the disk.
        let due = match self.attempt(&car).await {
            Ok(a) => DueOf::of(&a, s.changed_ms),
            // A car that cannot be answered for falls due at no known day.
            Err(_) => DueOf::default(),
        };
        self.keep_due_of(&car, &due).await
    }

    async fn keep_due_of(&self, car: &CarView, due: &DueOf) -> Result<(), Fail> {
        let body = serde_json::to_vec(due).map_err(|e| Fail::Machine(e.to_string()))?;
        let made = Made {
            kind: KIND.into(),
            id: car.id.to_string(),
            program: self.program().into(),
            version: car.version,
            rank: due.rank(),
            body,
        };
        Ok(self.records().put_made(made).await?)
    }
}
