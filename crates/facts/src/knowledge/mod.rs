//! What is known about faults and observations: priors, likelihoods, questions, repairs.
//!
//! The numbers live in `knowledge/*.toml`, each with a [`Mark`] that says how far to trust it. They are
//! built in, and a workshop overlays its own rows ([`Knowledge::overlay`]) as it learns.

pub mod actions;
pub mod check;
mod code_groups;
mod codes;
mod merge;
mod rows;

use crate::fault::FaultId;
use crate::finding::{Finding, Findings};
use crate::walk::nearest;
use actions::{Mechanism, Rate, Rule, Work};
use code_groups::CodeGroups;
use codes::{Code, CodeSpan};
use merge::{Merged, format_of, rows};
pub use rows::{
    CodeGroup, CostClass, Counted, Fault, Likelihood, Mark, Observation, ObservationKind, Repair, SetUp,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::LazyLock;

/// Most observations that a knowledge may hold.
pub const MOST_OBSERVATIONS: usize = 128;

/// Everything known about faults and observations.
#[derive(Debug, Clone)]
pub struct Knowledge {
    none: Fault,
    faults: Vec<Fault>,
    cost_classes: Vec<CostClass>,
    set_ups: Vec<SetUp>,
    observations: Vec<Observation>,
    likelihoods: BTreeMap<String, BTreeMap<String, Likelihood>>,
    rates: Vec<Rate>,
    work: BTreeMap<String, Work>,
    mechanisms: Vec<Mechanism>,
    rules: Vec<Rule>,
    /// Place of an observation in `observations`.
    place: BTreeMap<String, usize>,
    /// Probability by fault (`FaultId::ALL`, then none) and observation.
    table: Vec<Vec<f64>>,
    prior_sum: f64,
    codes: Vec<(CodeSpan, usize)>,
    code_groups: CodeGroups,
    /// The files as merged, so that more can be laid over.
    merged: Merged,
}

impl Knowledge {
    /// Reads the three texts of a knowledge folder.
    ///
    /// # Errors
    /// Everything that is wrong with them, with places.
    pub fn load(faults: &str, observations: &str, likelihoods: &str) -> Result<Self, Findings> {
        Self::from_texts(&[
            ("faults.toml", faults),
            ("observations.toml", observations),
            ("likelihoods.toml", likelihoods),
        ])
    }

    /// Reads named texts, later ones laid over earlier ones.
    ///
    /// # Errors
    /// Everything that is wrong with them, with places.
    pub fn from_texts(texts: &[(&str, &str)]) -> Result<Self, Findings> {
        Self::build(Merged::default(), texts)
    }

    /// The knowledge this version was built with.
    #[must_use]
    pub fn built_in() -> &'static Self {
        static BUILT_IN: LazyLock<Knowledge> = LazyLock::new(|| {
            let read = Knowledge::from_texts(&[
                ("faults.toml", include_str!("../../../../knowledge/faults.toml")),
                ("observations.toml", include_str!("../../../../knowledge/observations.toml")),
                ("likelihoods.toml", include_str!("../../../../knowledge/likelihoods.toml")),
                ("actions.toml", include_str!("../../../../knowledge/actions.toml")),
            ]);
            match read {
                Ok(k) => k,
                // No input reaches this: the texts are part of the program and a test reads them.
                Err(e) => unreachable!("the built-in knowledge is faulty: {e}"),
            }
        });
        &BUILT_IN
    }

    /// Lays a workshop's own files over this knowledge. A row with a known id replaces the keys it gives,
    /// a row with a new id must be whole; a likelihood replaces the whole likelihood.
    ///
    /// # Errors
    /// Everything that is wrong with the files, with places.
    pub fn overlay(&self, files: &[(&str, &str)]) -> Result<Self, Findings> {
        Self::build(self.merged.clone(), files)
    }

    /// Lays every `.toml` file of a folder that begins with one of the schemas of faults, observations,
    /// likelihoods and actions over this knowledge, in the order of the file names. Other files belong to others.
    ///
    /// # Errors
    /// What cannot be read, and everything that is wrong with the files.
    pub fn overlay_folder(&self, folder: &Path) -> Result<Self, Findings> {
        let unreadable = |path: &Path, e: &std::io::Error| Findings {
            findings: vec![Finding {
                file: path.display().to_string(),
                line: 1,
                column: 1,
                what: format!("cannot be read: {e}"),
                advice: "check the name and who may read it".into(),
            }],
        };
        let mut paths = std::fs::read_dir(folder)
            .and_then(|d| d.map(|e| e.map(|e| e.path())).collect::<Result<Vec<_>, _>>())
            .map_err(|e| unreadable(folder, &e))?;
        paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
        paths.sort();
        let mut texts = Vec::new();
        for path in &paths {
            let text = std::fs::read_to_string(path).map_err(|e| unreadable(path, &e))?;
            if format_of(&text).is_some() {
                texts.push((path.display().to_string(), text));
            }
        }
        let texts: Vec<(&str, &str)> = texts.iter().map(|(f, t)| (f.as_str(), t.as_str())).collect();
        self.overlay(&texts)
    }

    fn build(mut merged: Merged, texts: &[(&str, &str)]) -> Result<Self, Findings> {
        let mut errors = Vec::new();
        for (file, text) in texts {
            merged.add(file, text, &mut errors);
        }
        if errors.is_empty() {
            match Self::assemble(merged, &mut errors) {
                Some(k) if errors.is_empty() => return Ok(k),
                _ => {}
            }
        }
        errors.sort();
        errors.dedup();
        Err(Findings { findings: errors })
    }

    fn assemble(merged: Merged, errors: &mut Vec<Finding>) -> Option<Self> {
        let faults: Vec<Fault> = rows(&merged, "fault", errors);
        let cost_classes: Vec<CostClass> = rows(&merged, "cost_class", errors);
        let set_ups: Vec<SetUp> = rows(&merged, "set_up", errors);
        let observations: Vec<Observation> = rows(&merged, "observation", errors);
        let mut likelihoods: BTreeMap<String, BTreeMap<String, Likelihood>> = BTreeMap::new();
        for (fault, rows) in &merged.likelihood {
            for (observation, row) in rows {
                match row.clone().try_into() {
                    Ok(l) => {
                        likelihoods.entry(fault.clone()).or_default().insert(observation.clone(), l);
                    }
                    Err(e) => errors.push(merged.finding(
                        &format!("likelihood.{fault}.{observation}"),
                        e.message(),
                        "",
                    )),
                }
            }
        }
        let ids = || FaultId::ALL.iter().map(|f| f.id()).chain(["none"]);
        let place: BTreeMap<String, usize> =
            observations.iter().enumerate().map(|(i, o)| (o.id.clone(), i)).collect();

        for fault in &faults {
            let key = format!("fault.{}", fault.id);
            if !ids().any(|i| i == fault.id) {
                let advice = nearest(&fault.id, ids()).map_or_else(
                    || "faults are named in the program".to_owned(),
                    |n| format!("did you mean {n:?}?"),
                );
                errors.push(merged.finding(&key, format!("no fault is called {:?}", fault.id), advice));
            }
            if !cost_classes.iter().any(|c| c.id == fault.repair.cost_class) {
                let what = format!("no cost class is called {:?}", fault.repair.cost_class);
                errors.push(merged.finding(&key, what, "see [[cost_class]]"));
            }
        }
        let of = |id: &str| faults.iter().find(|f| f.id == id).cloned();
        let mut in_order = Vec::new();
        for id in ids() {
            match of(id) {
                Some(f) => in_order.push(f),
                None => {
                    errors.push(merged.finding("", format!("no [[fault]] has the id {id:?}"), "add the row"))
                }
            }
        }
        if let Some(o) = observations.get(MOST_OBSERVATIONS) {
            let what = format!("there are {} observations", observations.len());
            let advice = format!("at most {MOST_OBSERVATIONS} can be weighed together");
            errors.push(merged.finding(&format!("observation.{}", o.id), what, advice));
        }
        let mut codes = Vec::new();
        for (i, o) in observations.iter().enumerate() {
            let key = format!("observation.{}", o.id);
            if let Some(s) = &o.set_up
                && !set_ups.iter().any(|u| u.id == *s)
            {
                errors.push(merged.finding(&key, format!("no set-up is called {s:?}"), "see [[set_up]]"));
            }
            for code in &o.codes {
                match CodeSpan::parse(code) {
                    Some(span) => codes.push((span, i)),
                    None => errors.push(merged.finding(
                        &key,
                        format!("{code:?} is not a code or a range of codes"),
                        "write P2463, P2452-P2456, 3251/0 or 3251/2-5",
                    )),
                }
            }
        }
        let code_groups = CodeGroups::new(rows(&merged, "code_group", errors), &merged, &place, errors);
        for (fault, rows) in &likelihoods {
            for observation in rows.keys() {
                let key = format!("likelihood.{fault}.{observation}");
                if !ids().any(|i| i == fault) {
                    errors.push(merged.finding(&key, format!("no fault is called {fault:?}"), ""));
                }
                if !place.contains_key(observation) {
                    let advice = nearest(observation, place.keys().map(String::as_str))
                        .map_or_else(String::new, |n| format!("did you mean {n:?}?"));
                    errors.push(merged.finding(
                        &key,
                        format!("no observation is called {observation:?}"),
                        advice,
                    ));
                }
            }
        }
        let rates: Vec<Rate> = rows(&merged, "rate", errors);
        let work: Vec<Work> = rows(&merged, "work", errors);
        let mechanisms: Vec<Mechanism> = rows(&merged, "mechanism", errors);
        let rules: Vec<Rule> = rows(&merged, "rule", errors);
        let names = Names { faults: &ids().collect::<Vec<_>>(), set_ups: &set_ups, place: &place };
        names.check(&merged, &work, &mechanisms, &rules, errors);
        let table: Vec<Vec<f64>> = ids()
            .map(|id| {
                let own = likelihoods.get(id);
                observations
                    .iter()
                    .map(|o| own.and_then(|l| l.get(&o.id)).map_or(o.background, |l| l.p))
                    .collect()
            })
            .collect();
        let groups: BTreeSet<&str> =
            observations.iter().filter_map(|o| o.exclusive_group.as_deref()).collect();
        for (row, id) in table.iter().zip(ids()) {
            for group in &groups {
                let members =
                    observations.iter().zip(row).filter(|(o, _)| o.exclusive_group.as_deref() == Some(group));
                let (names, ps): (Vec<&str>, Vec<f64>) = members.map(|(o, p)| (o.id.as_str(), *p)).unzip();
                let sum: f64 = ps.iter().sum();
                if sum > 1.0 + 1e-9 {
                    let key = names
                        .iter()
                        .map(|n| format!("likelihood.{id}.{n}"))
                        // What was laid over last broke the sum.
                        .filter(|k| merged.origin.contains_key(k))
                        .max_by_key(|k| merged.origin.get(k).map(|(file, _)| *file))
                        .unwrap_or_default();
                    let what =
                        format!("under {id} the states of {group} ({}) add up to {sum:.3}", names.join(", "));
                    errors.push(merged.finding(&key, what, "at most one of them is true, so at most 1"));
                }
            }
        }
        let prior_sum = in_order.iter().map(|f| f.prior_weight).sum();
        let none = in_order.pop()?;
        Some(Self {
            none,
            faults: in_order,
            cost_classes,
            set_ups,
            observations,
            likelihoods,
            rates,
            work: work.into_iter().map(|w| (w.id.clone(), w)).collect(),
            mechanisms,
            rules,
            place,
            table,
            prior_sum,
            codes,
            code_groups,
            merged,
        })
    }

    /// Every fault, in the order of [`FaultId::ALL`].
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// What is known about a fault.
    #[must_use]
    pub fn fault(&self, fault: FaultId) -> &Fault {
        self.faults.get(number(fault)).unwrap_or(&self.none)
    }

    /// What is known about a car without a fault.
    #[must_use]
    pub fn none(&self) -> &Fault {
        &self.none
    }

    /// Prior probability of a fault alone, among cars that come in with a complaint. All of them and
    /// [`Knowledge::prior_none`] add up to 1.
    #[must_use]
    pub fn prior(&self, fault: FaultId) -> f64 {
        self.fault(fault).prior_weight / self.prior_sum
    }

    /// Prior probability of no fault, among cars that come in with a complaint.
    #[must_use]
    pub fn prior_none(&self) -> f64 {
        self.none.prior_weight / self.prior_sum
    }

    /// Every observation, in the alphabetical order of the ids.
    #[must_use]
    pub fn observations(&self) -> &[Observation] {
        &self.observations
    }

    /// The observation with this identifier.
    #[must_use]
    pub fn observation(&self, id: &str) -> Option<&Observation> {
        self.place.get(id).and_then(|&i| self.observations.get(i))
    }

    /// Every set-up.
    #[must_use]
    pub fn set_ups(&self) -> &[SetUp] {
        &self.set_ups
    }

    /// The set-up with this identifier.
    #[must_use]
    pub fn set_up(&self, id: &str) -> Option<&SetUp> {
        self.set_ups.iter().find(|s| s.id == id)
    }

    /// The class of cost with this letter.
    #[must_use]
    pub fn cost_class(&self, id: &str) -> Option<&CostClass> {
        self.cost_classes.iter().find(|c| c.id == id)
    }

    /// The price or time with this identifier.
    #[must_use]
    pub fn rate(&self, id: &str) -> Option<&Rate> {
        self.rates.iter().find(|r| r.id == id)
    }

    /// Every price and time of the workshop.
    #[must_use]
    pub fn rates(&self) -> &[Rate] {
        &self.rates
    }

    /// How the repair of a fault is done, beyond the row of the fault. `None` where no row tells.
    #[must_use]
    pub fn work(&self, fault: FaultId) -> Option<&Work> {
        self.work.get(fault.id())
    }

    /// Observations that hang together.
    #[must_use]
    pub fn mechanisms(&self) -> &[Mechanism] {
        &self.mechanisms
    }

    /// Safety rules.
    #[must_use]
    pub fn rules(&self) -> &[Rule] {
        &self.rules
    }

    /// The argued likelihood of an observation under a fault. `None`: the fault has no known bearing on
    /// it, so the background holds.
    #[must_use]
    pub fn likelihood(&self, fault: FaultId, observation: &str) -> Option<&Likelihood> {
        self.likelihoods.get(fault.id())?.get(observation)
    }

    /// The argued likelihood of an observation in a car without a fault.
    #[must_use]
    pub fn likelihood_none(&self, observation: &str) -> Option<&Likelihood> {
        self.likelihoods.get("none")?.get(observation)
    }

    /// Probability of an observation when this fault is present alone. An observation that is not known
    /// gets 0.5 under everything, so that it speaks for nothing.
    #[must_use]
    pub fn probability(&self, fault: FaultId, observation: &str) -> f64 {
        self.at(number(fault), observation)
    }

    /// Probability of an observation in a car without a fault (that came in all the same). 0.5 for an
    /// observation that is not known.
    #[must_use]
    pub fn probability_none(&self, observation: &str) -> f64 {
        self.at(FaultId::ALL.len(), observation)
    }

    fn at(&self, row: usize, observation: &str) -> f64 {
        let column = self.place.get(observation);
        column.and_then(|&c| self.table.get(row)?.get(c)).copied().unwrap_or(0.5)
    }

    /// Probability of an observation in a car that comes in, whatever its fault. 0.5 for an observation
    /// that is not known.
    #[must_use]
    pub fn background(&self, observation: &str) -> f64 {
        self.observation(observation).map_or(0.5, |o| o.background)
    }

    /// Probability of an observation when exactly these faults are present together.
    ///
    /// A leaky noisy-OR: the background is the leak, and each fault that makes the observation likelier
    /// fires on its own, with the strength that gives its table value when it is alone. A fault that makes
    /// it rarer thins the leak only, not what another fault brings about. A fault whose likelihood
    /// `overrides` decides alone. States of one exclusive group are scaled down where they would add up to
    /// more than 1. The empty set is a car without a fault.
    #[must_use]
    pub fn probability_given_set(&self, faults: &[FaultId], observation: &str) -> f64 {
        let raw = self.noisy_or(faults, observation);
        let Some(group) = self.observation(observation).and_then(|o| o.exclusive_group.as_deref()) else {
            return raw;
        };
        if faults.len() < 2 {
            return raw;
        }
        let sum: f64 = self
            .observations
            .iter()
            .filter(|o| o.exclusive_group.as_deref() == Some(group))
            .map(|o| self.noisy_or(faults, &o.id))
            .sum();
        raw / sum.max(1.0)
    }

    fn noisy_or(&self, faults: &[FaultId], observation: &str) -> f64 {
        match faults {
            [] => return self.probability_none(observation),
            [one] => return self.probability(*one, observation),
            _ => {}
        }
        let overriding: Vec<FaultId> = faults
            .iter()
            .copied()
            .filter(|&f| self.likelihood(f, observation).is_some_and(|l| l.overrides))
            .collect();
        let faults = if overriding.is_empty() { faults } else { &overriding };
        if let [one] = faults {
            return self.probability(*one, observation);
        }
        let background = self.background(observation);
        let mut leak = background;
        let mut silent = 1.0;
        for &f in faults {
            let p = self.probability(f, observation);
            if p < background {
                leak *= p / background;
            } else {
                silent *= (1.0 - p) / (1.0 - background);
            }
        }
        1.0 - (1.0 - leak) * silent
    }

    /// The observation that a trouble code answers with *yes*. Takes a code as a scan shows it: `P2463`,
    /// `p2463`, `P2463-62` (the failure type is ignored), `3251/0`.
    #[must_use]
    pub fn codes_to_observation(&self, code: &str) -> Option<&Observation> {
        let code = Code::parse(code)?;
        let (_, i) = self.codes.iter().find(|(span, _)| span.holds(code))?;
        self.observations.get(*i)
    }

    /// The group of its family that a trouble code belongs to, where it says more than the family does.
    #[must_use]
    pub fn code_group(&self, code: &str) -> Option<&CodeGroup> {
        self.code_groups.of(Code::parse(code)?)
    }

    /// Share of the codes of its family that lie in a group, given that some code of the family is stored and
    /// that exactly these faults are present: the mean over those faults that favour or exclude some group
    /// of the family, else the share whatever the fault.
    #[must_use]
    pub fn code_share(&self, faults: &[FaultId], group: &CodeGroup) -> f64 {
        self.code_groups.share(faults, group)
    }

    /// The observations that speak most for a fault: those whose probability under it is at least twice
    /// the background, strongest first.
    #[must_use]
    pub fn signs(&self, fault: FaultId) -> Vec<&Observation> {
        let ratio = |o: &Observation| self.probability(fault, &o.id) / o.background;
        let mut signs: Vec<&Observation> = self.observations.iter().filter(|o| ratio(o) >= 2.0).collect();
        signs.sort_by(|a, b| ratio(b).total_cmp(&ratio(a)).then_with(|| a.id.cmp(&b.id)));
        signs
    }
}

/// Names that rows may refer to.
struct Names<'a> {
    faults: &'a [&'a str],
    set_ups: &'a [SetUp],
    place: &'a BTreeMap<String, usize>,
}

impl Names<'_> {
    /// Reports every reference that leads nowhere.
    fn check(
        &self,
        merged: &Merged,
        work: &[Work],
        mechanisms: &[Mechanism],
        rules: &[Rule],
        errors: &mut Vec<Finding>,
    ) {
        let mut missing = |key: String, kind: &str, name: &str| {
            errors.push(merged.finding(&key, format!("no {kind} is called {name:?}"), ""));
        };
        let set_up = |id: &str| self.set_ups.iter().any(|s| s.id == id);
        for s in self.set_ups {
            if let Some(n) = s.needs.as_deref().filter(|n| !set_up(n) || *n == s.id) {
                missing(format!("set_up.{}", s.id), "other set-up", n);
            }
        }
        for w in work {
            let key = format!("work.{}", w.id);
            if !self.faults.contains(&w.id.as_str()) {
                missing(key.clone(), "fault", &w.id);
            }
            if let Some(s) = w.set_up.as_deref().filter(|s| !set_up(s)) {
                missing(key, "set-up", s);
            }
        }
        for m in mechanisms {
            for o in m.observations.iter().filter(|o| !self.place.contains_key(*o)) {
                missing(format!("mechanism.{}", m.id), "observation", o);
            }
        }
        for r in rules {
            let key = || format!("rule.{}", r.id);
            for f in r.faults.iter().filter(|f| !self.faults.contains(&f.as_str())) {
                missing(key(), "fault", f);
            }
            for s in r.forbids.iter().filter(|s| !set_up(s)) {
                missing(key(), "set-up", s);
            }
            for o in r.while_yes.iter().chain(&r.look_first).filter(|o| !self.place.contains_key(*o)) {
                missing(key(), "observation", o);
            }
        }
        let mut seen: BTreeMap<&str, &str> = BTreeMap::new();
        for m in mechanisms {
            for o in &m.observations {
                if let Some(other) = seen.insert(o, &m.id) {
                    let what = format!("{o:?} stands in {other:?} already");
                    let advice = "an observation shares one mechanism at most";
                    errors.push(merged.finding(&format!("mechanism.{}", m.id), what, advice));
                }
            }
        }
    }
}

fn number(fault: FaultId) -> usize {
    FaultId::ALL.iter().position(|f| *f == fault).unwrap_or(usize::MAX)
}
