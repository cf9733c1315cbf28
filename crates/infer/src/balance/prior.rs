//! What is believed about the additive side before any fact.

/// Prior shares of the balance faults and spreads of dose and counting.
///
/// Shares need not add up to 1; they are compared with each other. The defaults are expert guesses for a car
/// that comes to a workshop because of its filter or additive (no published frequencies were found).
#[derive(Debug, Clone, PartialEq)]
pub struct AdditivePrior {
    /// No balance fault (covers a reservoir emptied by normal use, which its history decides).
    pub sound: f64,
    /// Factor by which a car whose reservoir ran empty by normal use is brought in more often than its like.
    pub empty_odds: f64,
    /// The reservoir, line or pouch leaks.
    pub leak: f64,
    /// True dose below 0.75 of the set dose.
    pub under_dosed: f64,
    /// True dose above 1.3 of the set dose.
    pub over_dosed: f64,
    /// Filled, and the controller was not told.
    pub counter_not_reset: f64,
    /// A refill that nobody wrote down.
    pub refill_unwritten: f64,
    /// The controller was told a wrong quantity.
    pub wrong_quantity: f64,
    /// Refuelling is not recognised.
    pub refuelling_not_recognised: f64,
    /// Concentrate of another strength.
    pub wrong_strength: f64,
    /// Relative standard deviation of the true dose of a sound doser (common practice, no source: some per cent).
    pub dose_rel: f64,
    /// Relative standard deviation of the fuel the controller counts against fuel burnt (guess).
    pub gain_rel: f64,
    /// Probability that a lasting fault began before the first row.
    pub before_story: f64,
}

impl Default for AdditivePrior {
    fn default() -> Self {
        Self {
            sound: 0.32,
            empty_odds: 3.0,
            leak: 0.12,
            under_dosed: 0.09,
            over_dosed: 0.06,
            counter_not_reset: 0.11,
            refill_unwritten: 0.07,
            wrong_quantity: 0.08,
            refuelling_not_recognised: 0.08,
            wrong_strength: 0.06,
            dose_rel: 0.07,
            gain_rel: 0.03,
            before_story: 0.3,
        }
    }
}

impl AdditivePrior {
    /// Prior share of one fault (`None` = no fault). Running empty by normal use has the share of the sound car
    /// times its odds: its history decides how likely that was.
    #[must_use]
    pub fn share(&self, fault: Option<facts::FaultId>) -> f64 {
        use facts::FaultId as F;
        match fault {
            None => self.sound,
            Some(F::AdditiveEmpty) => self.sound * self.empty_odds,
            Some(F::AdditiveLeak) => self.leak,
            Some(F::AdditiveUnderDosed) => self.under_dosed,
            Some(F::AdditiveOverDosed) => self.over_dosed,
            Some(F::CounterNotReset) => self.counter_not_reset,
            Some(F::RefillNotWrittenDown) => self.refill_unwritten,
            Some(F::WrongQuantityEntered) => self.wrong_quantity,
            Some(F::RefuellingNotRecognised) => self.refuelling_not_recognised,
            Some(F::WrongStrength) => self.wrong_strength,
            Some(_) => 0.0,
        }
    }
}
