//! Ways out side by side: price, minutes, chance that it cures, chance of coming back.

use crate::plan::{Plan, plan};
use crate::procedure::{Fault, Procedure, Procedures};
use crate::quote::{Quote, Settings, quote};
use facts::FaultId;
use schemars::JsonSchema;
use serde::Serialize;

/// One way with what it costs and what it does for this car.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Choice {
    /// Identifier.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Its plan.
    pub plan: Plan,
    /// Its quote.
    pub quote: Quote,
    /// Probability that everything that is wrong is mended.
    pub cures: f64,
    /// Probability that the car comes back within 1000 km: not cured, or cured and relapsed.
    pub comes_back: f64,
    /// It leaves the likeliest fault set unmended: said aloud.
    pub will_not_cure: bool,
}

/// A way that mends the likeliest fault set with less than this chance will not cure.
const NO_CURE: f64 = 0.1;

/// Every way for a car with these fault sets (probabilities that add up to 1).
///
/// # Errors
/// What is wrong with the procedures.
pub fn choices(
    procedures: &Procedures,
    sets: &[(Vec<FaultId>, f64)],
    settings: &Settings,
) -> Result<Vec<Choice>, Fault> {
    let leading = sets.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let mut out = Vec::new();
    for way in &procedures.way {
        let parts: Vec<Procedure> =
            way.procedures.iter().filter_map(|id| procedures.procedure(id)).cloned().collect();
        let plan = plan(&parts)?;
        let mends = |set: &[FaultId]| -> f64 {
            set.iter().map(|f| way.cures.get(f).copied().unwrap_or(0.0)).product()
        };
        let cures: f64 = sets.iter().map(|(set, p)| p * mends(set)).sum();
        out.push(Choice {
            id: way.id.clone(),
            label: way.label.clone(),
            quote: quote(&plan, settings),
            plan,
            cures,
            comes_back: 1.0 - cures * (1.0 - way.relapse),
            will_not_cure: leading.is_some_and(|(set, _)| mends(set) < NO_CURE),
        });
    }
    Ok(out)
}
