//! Forms of the pages to facts of the records.

use crate::fail::Fail;
use crate::words::typed;
use shop::record::{Look, Pouring};
use shop::{Id, What};
use std::collections::BTreeMap;

/// Fields of a form as they were sent.
#[derive(Debug, Clone, Default, serde::Deserialize)]
#[serde(transparent)]
pub struct Form(pub BTreeMap<String, String>);

impl Form {
    /// A field without blanks around it; empty when it was not sent.
    #[must_use]
    pub fn text(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |s| s.trim())
    }

    /// A field that must be there.
    ///
    /// # Errors
    /// When it is empty.
    pub fn owed(&self, name: &str) -> Result<String, Fail> {
        match self.text(name) {
            "" => Err(Fail::Field(name.to_owned(), String::new())),
            text => Ok(text.to_owned()),
        }
    }

    /// A number with comma or point; none when it is empty.
    ///
    /// # Errors
    /// When it is no number.
    pub fn number(&self, name: &str) -> Result<Option<f64>, Fail> {
        typed(self.text(name)).map_err(|text| Fail::Field(name.to_owned(), text))
    }

    /// A number that must be there.
    ///
    /// # Errors
    /// When it is empty or no number.
    pub fn owed_number(&self, name: &str) -> Result<f64, Fail> {
        self.number(name)?.ok_or_else(|| Fail::Field(name.to_owned(), String::new()))
    }

    /// An identifier.
    ///
    /// # Errors
    /// When it is none.
    pub fn id(&self, name: &str) -> Result<Id, Fail> {
        Id::parse(self.text(name)).map_err(|_| Fail::Field(name.to_owned(), self.text(name).to_owned()))
    }

    /// How many facts the page knew; none when it does not say.
    ///
    /// # Errors
    /// When it is no count.
    pub fn version(&self) -> Result<Option<u64>, Fail> {
        match self.text("version") {
            "" => Ok(None),
            text => text.parse().map(Some).map_err(|_| Fail::Field("version".into(), text.to_owned())),
        }
    }

    /// Fields whose name begins so, without that beginning; empty ones are left out.
    #[must_use]
    pub fn starting(&self, beginning: &str) -> BTreeMap<String, String> {
        self.0
            .iter()
            .filter_map(|(k, v)| Some((k.strip_prefix(beginning)?.to_owned(), v.trim().to_owned())))
            .filter(|(_, v)| !v.is_empty())
            .collect()
    }
}

/// An identifier made from another and a word: the facts of one form each get their own, the same at every send.
#[must_use]
pub fn derived(id: &Id, word: &str) -> Id {
    let hash = blake3::hash(format!("{id}\n{word}").as_bytes());
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash.as_bytes()[..16]);
    let text = uuid::Builder::from_custom_bytes(bytes).into_uuid().hyphenated().to_string();
    // A UUID as text always reads as one.
    Id::parse(&text).unwrap_or_else(|_| id.clone())
}

/// The fact that a form of a job says.
///
/// # Errors
/// A field that is missing or cannot be read.
pub fn job_fact(f: &Form) -> Result<What, Fail> {
    let step = || f.owed("step");
    Ok(match f.text("kind") {
        "locked" => What::Locked { why: f.owed("why")? },
        "unlocked" => What::Unlocked { because: f.owed("because")? },
        "planned" => What::Planned { procedures: f.starting("p.").into_keys().collect() },
        "answered" => What::Answered {
            way: f.owed("way")?,
            gross: f.owed_number("gross")?,
            currency: f.owed("currency")?,
            accepted: f.text("accepted") == "yes",
        },
        "looked" => {
            let scan = scanned(f.text("code"));
            let how = match f.text("how") {
                "density" => Look::Density {
                    volume_ml: f.owed_number("volume_ml")?,
                    mass_g: f.owed_number("mass_g")?,
                    degc: f.number("degc")?.unwrap_or(20.0),
                },
                "scan" => Look::Scan,
                _ => Look::Label,
            };
            if how == Look::Scan && scan.is_none() {
                return Err(Fail::Field("code".into(), f.text("code").to_owned()));
            }
            let (lot, expiry) = match scan {
                Some(s) => (s.lot, s.expiry),
                None => (f.owed("lot")?, Some(f.text("expiry").to_owned()).filter(|e| !e.is_empty())),
            };
            if let Some(e) = &expiry
                && facts::Moment::parse(e).is_err()
            {
                return Err(Fail::Field("expiry".into(), e.clone()));
            }
            What::Looked { fluid: f.owed("fluid")?, lot, expiry, how }
        }
        "confirmed" => What::Confirmed { step: step()?, interlock: f.owed("interlock")? },
        "proof_kept" => {
            What::ProofKept { step: step()?, item: f.owed("item")?, file: None, note: Some(f.owed("note")?) }
        }
        "weighed" => What::Weighed {
            step: step()?,
            at: match f.text("at") {
                "before" => Pouring::Before,
                "after" => Pouring::After,
                _ => Pouring::During,
            },
            gross_g: f.owed_number(if f.text("at") == "during" { "during" } else { "gross_g" })?,
        },
        "clock_started" => What::ClockStarted { step: step()?, minutes: f.owed_number("minutes")? },
        "values_saved" => What::ValuesSaved { values: f.starting("v.") },
        "values_entered" => What::ValuesEntered { values: f.starting("v.") },
        "values_read_back" => What::ValuesReadBack { values: f.starting("v.") },
        "step_done" => What::StepDone { step: step()? },
        "step_left" => What::StepLeft { step: step()?, because: f.owed("because")? },
        "signed" => What::Signed {},
        "handed_over" => What::HandedOver {},
        "followed_up" => What::FollowedUp { answer: f.owed("answer")? },
        "withdrawn" => What::Withdrawn { because: f.owed("because")? },
        other => return Err(Fail::Field("kind".into(), other.to_owned())),
    })
}

/// Lot and expiry off a container.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scanned {
    /// Lot (application identifier 10).
    pub lot: String,
    /// Last day of use, `2031-05-02` (application identifier 17).
    pub expiry: Option<String>,
}

/// Reads a GS1 code as a scanner types it: element strings with brackets, or plain with group separators (GS1
/// General Specifications: 01 has 14 digits, 17 and 11 have 6, 10 and 21 run to a separator or the end).
#[must_use]
pub fn scanned(code: &str) -> Option<Scanned> {
    let (mut lot, mut expiry) = (None, None);
    let code = code.trim().trim_start_matches("]C1").trim_start_matches("]d2").trim_start_matches("]Q3");
    let mut rest = code;
    while !rest.is_empty() {
        rest = rest.trim_start_matches(['\u{1d}', '(']);
        if rest.is_empty() {
            break;
        }
        let ai = rest.get(..2)?;
        rest = rest.get(2..)?.trim_start_matches(')');
        let fixed = match ai {
            "00" => Some(18),
            "01" | "02" => Some(14),
            "11" | "13" | "15" | "17" => Some(6),
            "10" | "21" | "37" => None,
            _ => return None,
        };
        let end = fixed.unwrap_or_else(|| rest.find(['\u{1d}', '(']).unwrap_or(rest.len()));
        let value = rest.get(..end)?;
        rest = rest.get(end..)?;
        match ai {
            "10" if !value.is_empty() => lot = Some(value.to_owned()),
            "17" => expiry = Some(date(value)?),
            _ => {}
        }
    }
    lot.map(|lot| Scanned { lot, expiry })
}

/// `YYMMDD`; a day of 00 is the last day of the month (GS1 General Specifications).
fn date(yymmdd: &str) -> Option<String> {
    let part = |a: usize| yymmdd.get(a..a + 2)?.parse::<i16>().ok();
    let (year, month, day) = (2000 + part(0)?, part(2)?, part(4)?);
    let month = i8::try_from(month).ok()?;
    let date = if day == 0 {
        jiff::civil::Date::new(year, month, 1).ok()?.last_of_month()
    } else {
        jiff::civil::Date::new(year, month, i8::try_from(day).ok()?).ok()?
    };
    Some(date.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reference_gs1_element_strings_are_read() {
        // Forms of GS1 General Specifications, section 7.8: fixed lengths, separators, day 00.
        let bracketed = scanned("(01)04012345678901(17)270600(10)26-1103");
        assert_eq!(bracketed, Some(Scanned { lot: "26-1103".into(), expiry: Some("2027-06-30".into()) }));
        let plain = scanned("]d201040123456789011727063110AB7\u{1d}21SER1");
        assert_eq!(plain.and_then(|s| s.expiry), None, "June has no 31st: nothing is guessed");
        let plain = scanned("]d201040123456789011727063010AB7\u{1d}21SER1");
        assert_eq!(plain, Some(Scanned { lot: "AB7".into(), expiry: Some("2027-06-30".into()) }));
        assert_eq!(scanned("https://example.org/1"), None);
        assert_eq!(scanned("01040123"), None);
        assert_eq!(scanned("(10)é1"), Some(Scanned { lot: "é1".into(), expiry: None }));
    }

    #[test]
    fn property_one_form_makes_the_same_identifiers_at_every_send() {
        let id = crate::state::Bench::new_id();
        assert_eq!(derived(&id, "a"), derived(&id, "a"));
        assert_ne!(derived(&id, "a"), derived(&id, "b"));
    }
}
