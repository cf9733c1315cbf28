//! Reads a TOML text against a JSON Schema made from our types, so that every structural fault is found
//! at once and has a place. The schema is the single statement of what a file may hold.

use crate::finding::{Finding, Places};
use crate::moment::Moment;
use crate::schema::accepted_values;
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What came out of a text: a value free of structural faults (faulty rows and keys are left out), and
/// what was found on the way.
pub(crate) struct Walked {
    pub value: toml::Table,
    pub places: Places,
    pub errors: Vec<Finding>,
    pub warnings: Vec<Finding>,
    /// For each list, the original index of every row that was kept.
    pub kept: BTreeMap<String, Vec<usize>>,
}

/// Reads `text` against `schema`.
pub(crate) fn walk(text: &str, file: &str, schema: &Json) -> Walked {
    let mut walker = Walker {
        defs: schema.get("$defs").and_then(Json::as_object),
        root: schema.get("properties").and_then(Json::as_object),
        places: Places::new(file, text),
        errors: Vec::new(),
        warnings: Vec::new(),
        kept: BTreeMap::new(),
    };
    let (document, syntax) = DeTable::parse_recoverable(text);
    for error in &syntax {
        let byte = error.span().map_or(0, |s| s.start);
        let finding = walker.places.finding_at_byte(byte, format!("not TOML: {}", error.message()), "");
        let advice = syntax_advice(walker.places.line_text(finding.line));
        walker.errors.push(Finding { advice, ..finding });
    }
    // What the parser made of a torn text would only mislead.
    let value = if syntax.is_empty() {
        walker.table(document.get_ref(), schema, "", "").unwrap_or_default()
    } else {
        toml::Table::new()
    };
    walker.errors.sort_by_key(|f| (f.line, f.column));
    walker.warnings.sort_by_key(|f| (f.line, f.column));
    Walked {
        value,
        places: walker.places,
        errors: walker.errors,
        warnings: walker.warnings,
        kept: walker.kept,
    }
}

/// A hint for the usual slips.
fn syntax_advice(line: &str) -> String {
    let right = line.split_once('=').map_or("", |(_, r)| r.trim());
    let comma = right.split_once(',').is_some_and(|(a, b)| {
        let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
        !right.starts_with('[') && digit(a.chars().last()) && digit(b.chars().next())
    });
    if comma {
        "write the decimal sign as a point".into()
    } else if !right.is_empty() && right.chars().next().is_some_and(|c| c.is_alphabetic()) {
        "put text in double quotes".into()
    } else if line.matches('"').count() % 2 == 1 {
        "close the double quotes".into()
    } else if line.trim_start().starts_with('[') {
        "a table starts with [name], a row with [[name]]; each [name] may stand once".into()
    } else {
        "write one `key = value` on a line, each key once in its table".into()
    }
}

struct Walker<'s> {
    defs: Option<&'s Map<String, Json>>,
    root: Option<&'s Map<String, Json>>,
    places: Places,
    errors: Vec<Finding>,
    warnings: Vec<Finding>,
    kept: BTreeMap<String, Vec<usize>>,
}

impl<'s> Walker<'s> {
    /// Follows a reference; gives the name of what it refers to.
    fn resolve(&self, schema: &'s Json) -> (&'s Json, &'s str) {
        let name = schema.get("$ref").and_then(Json::as_str).and_then(|r| r.strip_prefix("#/$defs/"));
        match name.and_then(|n| Some((self.defs?.get(n)?, n))) {
            Some(found) => found,
            None => (schema, ""),
        }
    }

    fn error(&mut self, path: &str, what: impl Into<String>, advice: impl Into<String>) {
        self.errors.push(self.places.finding(path, what, advice));
    }

    /// A table. `None` when it cannot be used at all (a required key is missing or unusable).
    fn table(
        &mut self,
        table: &DeTable<'_>,
        schema: &'s Json,
        name: &str,
        path: &str,
    ) -> Option<toml::Table> {
        let properties = schema.get("properties").and_then(Json::as_object);
        let free = schema.get("additionalProperties").filter(|a| a.is_object());
        let required: Vec<&str> = schema
            .get("required")
            .and_then(Json::as_array)
            .map(|r| r.iter().filter_map(Json::as_str).collect())
            .unwrap_or_default();
        let mut out = toml::Table::new();
        for (key, value) in table {
            let text: &str = key.get_ref();
            let at = if path.is_empty() { text.to_owned() } else { format!("{path}.{text}") };
            self.places.put(&at, key.span());
            match properties.and_then(|p| p.get(text)).or(free) {
                Some(property) => {
                    if let Some(v) = self.value(value, property, &at) {
                        out.insert(text.to_owned(), v);
                    }
                }
                None => {
                    let advice = self.advice_for_key(text, properties, name, path);
                    let place = if path.is_empty() {
                        "at the top of the file".to_owned()
                    } else {
                        format!("in [{}]", path.split('.').next().unwrap_or(path))
                    };
                    self.error(&at, format!("unknown key `{text}` {place}"), advice);
                }
            }
        }
        let mut usable = true;
        for key in required {
            let given = table.iter().any(|(k, _)| k.get_ref().as_ref() == key);
            if !given {
                let what = if path.is_empty() {
                    format!("`{key}` is missing")
                } else {
                    format!("`{key}` is missing in [{}]", path.split('.').next().unwrap_or(path))
                };
                let advice = match properties.and_then(|p| p.get(key)) {
                    Some(p) => match p.get("const").and_then(Json::as_str) {
                        Some(c) => format!("begin the file with {key} = \"{c}\""),
                        None => p.get("description").and_then(Json::as_str).map_or_else(
                            || format!("add {key}"),
                            |d| format!("add {key}: {}", d.trim_end_matches('.')),
                        ),
                    },
                    None => format!("add {key}"),
                };
                self.error(path, what, advice);
            }
            usable &= given && out.contains_key(key);
        }
        // The root goes on without what is missing, so that the rest of the file is checked too.
        (usable || path.is_empty()).then_some(out)
    }

    fn advice_for_key(&self, key: &str, here: Option<&Map<String, Json>>, name: &str, path: &str) -> String {
        if let Some(close) = here.and_then(|p| nearest(key, p.keys().map(String::as_str))) {
            return format!("did you mean `{close}`?");
        }
        let elsewhere = self.root.into_iter().flatten().find_map(|(table, schema)| {
            let (def, def_name) = self.resolve(schema.get("items").unwrap_or(schema));
            let has = def_name != name && def.get("properties").and_then(|p| p.get(key)).is_some();
            has.then(|| {
                if schema.get("items").is_some() { format!("[[{table}]]") } else { format!("[{table}]") }
            })
        });
        match (elsewhere, here) {
            (Some(table), _) => format!("`{key}` belongs in {table}"),
            (None, Some(p)) if !path.is_empty() && p.len() <= 24 => {
                format!("known here: {}", p.keys().cloned().collect::<Vec<_>>().join(", "))
            }
            _ => "take it out, or look the key up in the case schema".into(),
        }
    }

    fn value(&mut self, value: &Spanned<DeValue<'_>>, schema: &'s Json, path: &str) -> Option<toml::Value> {
        let (schema, name) = self.resolve(schema);
        let key = path.rsplit('.').next().unwrap_or(path).to_owned();
        let found = value.get_ref();
        if name == "Moment" {
            return self.moment(found, path, &key);
        }
        let accepted = accepted_values(schema);
        if !accepted.is_empty() {
            return self.choice(found, &accepted, path, &key);
        }
        match (schema.get("type").and_then(Json::as_str), found) {
            (Some("object"), DeValue::Table(t)) => {
                let before = self.errors.len();
                let out = self.table(t, schema, name, path);
                // A row with a fault is left out whole: half a row would only raise further, false findings.
                let row = path.rsplit('.').next().is_some_and(|l| l.parse::<usize>().is_ok());
                out.filter(|_| !row || self.errors.len() == before).map(toml::Value::Table)
            }
            (Some("array"), DeValue::Array(list)) => {
                let items = schema.get("items")?;
                let mut out = Vec::new();
                let mut kept = Vec::new();
                for (i, item) in list.iter().enumerate() {
                    let at = format!("{path}.{i}");
                    self.places.put(&at, item.span());
                    if let Some(v) = self.value(item, items, &at) {
                        out.push(v);
                        kept.push(i);
                    }
                }
                self.kept.insert(path.to_owned(), kept);
                Some(toml::Value::Array(out))
            }
            (Some("string"), DeValue::String(s)) => Some(toml::Value::String(s.to_string())),
            (Some("boolean"), DeValue::Boolean(b)) => Some(toml::Value::Boolean(*b)),
            (Some("number"), DeValue::Float(_) | DeValue::Integer(_)) => {
                let number = float(found)?;
                self.within(number, schema, path, &key).then_some(toml::Value::Float(number))
            }
            (Some("integer"), DeValue::Integer(i)) => {
                let Ok(number) = i64::from_str_radix(i.as_str(), i.radix()) else {
                    self.error(path, format!("`{key}` = {i} does not fit"), "write a smaller whole number");
                    return None;
                };
                self.within(number as f64, schema, path, &key).then_some(toml::Value::Integer(number))
            }
            (wanted, _) => {
                let (what, advice) = mismatch(wanted.unwrap_or("value"), found, &key, name);
                self.error(path, what, advice);
                None
            }
        }
    }

    fn moment(&mut self, found: &DeValue<'_>, path: &str, key: &str) -> Option<toml::Value> {
        let text = match found {
            DeValue::String(s) => s.to_string(),
            DeValue::Datetime(d) => d.to_string(),
            other => {
                let advice = "write 2031-05-02, 2031-05-02T14:30 or 2031-05-02T14:30:00+02:00";
                self.error(path, format!("`{key}` is a {}, not a date", other.type_str()), advice);
                return None;
            }
        };
        match Moment::parse(&text) {
            Ok(_) => Some(toml::Value::String(text)),
            Err(why) => {
                self.error(path, format!("`{key}`: {why}"), "");
                None
            }
        }
    }

    fn choice(
        &mut self,
        found: &DeValue<'_>,
        accepted: &[String],
        path: &str,
        key: &str,
    ) -> Option<toml::Value> {
        let all = accepted.join(", ");
        let DeValue::String(s) = found else {
            let advice = match found {
                DeValue::Boolean(b) if accepted.iter().any(|a| a == "yes") => {
                    format!("write \"{}\" in quotes; accepted: {all}", if *b { "yes" } else { "no" })
                }
                _ => format!("write one of these in quotes: {all}"),
            };
            self.error(
                path,
                format!("`{key}` is a {}, not one of the accepted words", found.type_str()),
                advice,
            );
            return None;
        };
        if accepted.iter().any(|a| a == s.as_ref()) {
            return Some(toml::Value::String(s.to_string()));
        }
        let near = nearest(s, accepted.iter().map(String::as_str));
        let advice = match near {
            Some(n) if accepted.len() > 1 => format!("did you mean \"{n}\"? accepted: {all}"),
            _ => format!("accepted: {all}"),
        };
        self.error(path, format!("`{key}` = {:?} is not known", s.as_ref()), advice);
        None
    }

    fn within(&mut self, number: f64, schema: &Json, path: &str, key: &str) -> bool {
        let bound = |b: &str| schema.get(b).and_then(Json::as_f64);
        let (low, high) =
            (bound("minimum").unwrap_or(f64::NEG_INFINITY), bound("maximum").unwrap_or(f64::INFINITY));
        if !number.is_finite() {
            self.error(
                path,
                format!("`{key}` is not a finite number"),
                "leave the key out when it is not known",
            );
            return false;
        }
        if number < low || number > high {
            let advice =
                format!("possible: {low} to {high}; check the number and the unit in the key's name");
            self.error(path, format!("`{key}` = {number} is impossible"), advice);
            return false;
        }
        let usual = |b: &str| schema.get("x-usual").and_then(|u| u.get(b)).and_then(Json::as_f64);
        if let (Some(from), Some(to)) = (usual("from"), usual("to"))
            && (number < from || number > to)
        {
            let what = format!("`{key}` = {number} is unusual");
            let advice = format!("usual: {from} to {to}; used as it stands");
            self.warnings.push(self.places.finding(path, what, advice));
        }
        true
    }
}

fn float(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(f) => f.as_str().parse().ok().or(Some(f64::NAN)),
        DeValue::Integer(i) if i.radix() == 10 => i.as_str().parse().ok(),
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(|n| n as f64),
        _ => None,
    }
}

fn mismatch(wanted: &str, found: &DeValue<'_>, key: &str, name: &str) -> (String, String) {
    let is = found.type_str();
    match (wanted, found) {
        ("array", DeValue::Table(_)) => {
            (format!("`{key}` is a single table"), format!("rows take double brackets: [[{key}]]"))
        }
        ("object", DeValue::Array(_)) => {
            (format!("`{key}` may stand once only"), format!("write [{key}] in single brackets"))
        }
        ("number" | "integer", DeValue::String(s)) => {
            let advice = if s.trim().replace(',', ".").parse::<f64>().is_ok() {
                "write the number without quotes, with a decimal point"
            } else {
                "write a bare number; its unit is in the key's name; leave the key out when it is not known"
            };
            (format!("`{key}` is a text, not a number"), advice.into())
        }
        ("integer", DeValue::Float(_)) => (format!("`{key}` has a fraction"), "write a whole number".into()),
        ("boolean", _) => {
            (format!("`{key}` is a {is}, not true or false"), "write true or false without quotes".into())
        }
        ("string", _) => (format!("`{key}` is a {is}, not a text"), "put it in double quotes".into()),
        ("object", _) => (
            format!("`{key}` is a {is}, not a table"),
            if name.is_empty() {
                "write a table".into()
            } else {
                format!("write a table [{key}] with its keys")
            },
        ),
        _ => (
            format!("`{key}` is a {is}, where a {wanted} belongs"),
            "look the key up in the case schema".into(),
        ),
    }
}

/// The candidate that was probably meant, if any is close enough.
pub(crate) fn nearest<'a>(word: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    candidates
        .map(|c| (strsim::damerau_levenshtein(&lower, &c.to_lowercase()), strsim::jaro_winkler(&lower, c), c))
        .filter(|&(edits, likeness, c)| edits <= (c.chars().count() / 4).max(1) || likeness > 0.92)
        .min_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)).then(a.2.cmp(b.2)))
        .map(|(_, _, c)| c)
}
