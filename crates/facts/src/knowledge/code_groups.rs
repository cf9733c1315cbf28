//! Which code of a family is stored, beyond that one is.

use super::codes::{Code, CodeSpan};
use super::merge::Merged;
use super::rows::CodeGroup;
use crate::FaultId;
use crate::finding::Finding;
use std::collections::BTreeMap;

/// Part of the shares that does not listen to the fault: a second, unknown cause sets codes too.
const BESIDE: f64 = 0.05;

/// All groups of the knowledge.
#[derive(Debug, Clone, Default)]
pub(super) struct CodeGroups {
    groups: Vec<CodeGroup>,
    spans: Vec<(CodeSpan, usize)>,
}

impl CodeGroups {
    /// Takes rows and reports what does not fit.
    pub(super) fn new(
        groups: Vec<CodeGroup>,
        merged: &Merged,
        place: &BTreeMap<String, usize>,
        errors: &mut Vec<Finding>,
    ) -> Self {
        let mut spans = Vec::new();
        for (i, g) in groups.iter().enumerate() {
            let key = format!("code_group.{}", g.id);
            if !place.contains_key(&g.observation) {
                let what = format!("no observation is called {:?}", g.observation);
                errors.push(merged.finding(&key, what, "see [[observation]]"));
            }
            for f in g.under.keys().filter(|f| !FaultId::ALL.iter().any(|id| id.id() == **f)) {
                errors.push(merged.finding(&key, format!("no fault is called {f:?}"), ""));
            }
            for code in &g.codes {
                match CodeSpan::parse(code) {
                    Some(span) => spans.push((span, i)),
                    None => errors.push(merged.finding(
                        &key,
                        format!("{code:?} is not a code or a range of codes"),
                        "write P2463, P2452-P2456, 3251/0 or 3251/2-5",
                    )),
                }
            }
            // Every sum is looked at once, at its first group.
            if groups.iter().position(|o| o.observation == g.observation) != Some(i) {
                continue;
            }
            let family = || groups.iter().filter(|o| o.observation == g.observation);
            let mut sums = vec![("any fault".to_owned(), family().map(|o| o.share).sum::<f64>())];
            for f in FaultId::ALL.iter().map(|f| f.id()) {
                sums.push((f.to_owned(), family().filter_map(|o| o.under.get(f)).sum()));
            }
            for (of, sum) in sums.into_iter().filter(|s| !(0.0..1.0).contains(&s.1)) {
                let what = format!("under {of} the groups of {} add up to {sum:.3}", g.observation);
                errors.push(merged.finding(&key, what, "leave something below 1 for the other codes"));
            }
        }
        Self { groups, spans }
    }

    /// The group that holds a code.
    pub(super) fn of(&self, code: Code) -> Option<&CodeGroup> {
        let (_, i) = self.spans.iter().find(|(span, _)| span.holds(code))?;
        self.groups.get(*i)
    }

    /// See [`super::Knowledge::code_share`].
    pub(super) fn share(&self, faults: &[FaultId], group: &CodeGroup) -> f64 {
        let family = || self.groups.iter().filter(|g| g.observation == group.observation);
        let under = |f: &FaultId| {
            let listed: f64 = family().filter_map(|g| g.under.get(f.id())).sum();
            family().any(|g| g.under.contains_key(f.id())).then(|| {
                group.under.get(f.id()).copied().unwrap_or_else(|| {
                    let taken: f64 = family().filter(|g| g.under.contains_key(f.id())).map(|g| g.share).sum();
                    group.share / (1.0 - taken).max(1e-9) * (1.0 - listed)
                })
            })
        };
        let own: Vec<f64> = faults.iter().filter_map(under).collect();
        if own.is_empty() {
            return group.share;
        }
        BESIDE * group.share + (1.0 - BESIDE) * own.iter().sum::<f64>() / own.len() as f64
    }
}
