//! Dates and instants as a workshop writes them.

use jiff::{Timestamp, civil, tz::TimeZone};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// When something happened: a date (`2031-05-02`), a local date and time (`2031-05-02T14:30`, taken as
/// UTC) or an instant with offset (`2031-05-02T14:30:00+02:00`). Kept in UTC; a bare date stands for
/// noon of that day, so that two rows of one day differ only by what is really known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment {
    /// The instant in UTC.
    pub instant: Timestamp,
    /// True when only the day is known.
    pub day_only: bool,
}

impl Moment {
    /// Reads a date, a local date-time or an RFC 3339 instant.
    ///
    /// # Errors
    /// A sentence that says which forms are accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Ok(instant) = text.parse::<Timestamp>() {
            return Ok(Self { instant, day_only: false });
        }
        let in_utc = |dt: civil::DateTime| {
            TimeZone::UTC.to_timestamp(dt).map_err(|e| format!("the date {text:?} is out of range: {e}"))
        };
        if text.len() == 10
            && let Ok(date) = text.parse::<civil::Date>()
        {
            return Ok(Self { instant: in_utc(date.at(12, 0, 0, 0))?, day_only: true });
        }
        if let Ok(dt) = text.parse::<civil::DateTime>() {
            return Ok(Self { instant: in_utc(dt)?, day_only: false });
        }
        Err(format!(
            "{text:?} is not a date; write 2031-05-02, 2031-05-02T14:30 or 2031-05-02T14:30:00+02:00"
        ))
    }

    /// The day, counted from 1970-01-01 in UTC.
    #[must_use]
    pub fn day(self) -> i64 {
        self.instant.as_second().div_euclid(86_400)
    }

    /// Whether `self` was before `other` beyond doubt. Two bare dates are compared by their days; a bare
    /// date against an instant must lie two days apart, for it was written in an unknown time zone.
    #[must_use]
    pub fn surely_before(self, other: Self) -> bool {
        match (self.day_only, other.day_only) {
            (false, false) => self.instant < other.instant,
            (true, true) => self.day() < other.day(),
            _ => self.day() + 1 < other.day(),
        }
    }

    /// Days from `earlier` to `self` (negative when `self` is the earlier one).
    #[must_use]
    pub fn days_since(self, earlier: Self) -> f64 {
        (self.instant.as_second() - earlier.instant.as_second()) as f64 / 86_400.0
    }
}

impl std::fmt::Display for Moment {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let text = self.instant.to_string();
        f.write_str(if self.day_only { text.get(..10).unwrap_or(&text) } else { &text })
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Written {
            Text(String),
            Toml(toml::value::Datetime),
        }
        let text = match Written::deserialize(d)? {
            Written::Text(t) => t,
            Written::Toml(t) => t.to_string(),
        };
        Self::parse(&text).map_err(de::Error::custom)
    }
}

impl JsonSchema for Moment {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Moment".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "description": "Date 2031-05-02, local date and time 2031-05-02T14:30 (taken as UTC), or instant 2031-05-02T14:30:00+02:00. TOML's own date values are accepted too.",
            "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}([T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\\.[0-9]+)?)?(Z|[+-][0-9]{2}:[0-9]{2})?)?$"
        })
    }
}
