//! All data out as JSON lines or CSV, and JSON lines in again.

use crate::{Error, Plain, Records};
use serde::{Deserialize, Serialize};
use shop::chain::{Chained, Seal};
use shop::record::Audit;

/// The kinds of plain rows, in the order in which they are written.
pub const PLAIN: [&str; 5] = ["person", "keeper", "complaint", "price", "setting"];

/// One line of an export.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "record", rename_all = "snake_case")]
pub enum Line {
    /// What the file is.
    Head {
        /// Always `sootwright.records/1`.
        schema: String,
    },
    /// A plain row.
    Plain(Plain),
    /// A fact.
    Fact(Chained),
    /// A seal.
    Seal(Seal),
    /// An audit row.
    Audit(Audit),
}

/// The value of `schema` in the first line.
pub const SCHEMA: &str = "sootwright.records/1";

/// Every line of an export: plain rows, facts by subject, seals, audit rows. Files are named in the facts by
/// their hash; copy the folder `files` along.
///
/// # Errors
/// When the records cannot be read.
pub async fn lines(records: &dyn Records) -> Result<Vec<Line>, Error> {
    let mut out = vec![Line::Head { schema: SCHEMA.into() }];
    for kind in PLAIN {
        out.extend(records.find(kind, "", u32::MAX).await?.into_iter().map(Line::Plain));
    }
    for kind in ["car", "job", "lot"] {
        for s in records.all(kind).await? {
            out.extend(records.facts(&s.subject).await?.into_iter().map(Line::Fact));
        }
    }
    out.extend(records.seals().await?.into_iter().map(Line::Seal));
    out.extend(records.audit().await?.into_iter().map(Line::Audit));
    Ok(out)
}

/// An export as JSON lines.
///
/// # Errors
/// When the records cannot be read.
pub async fn json_lines(records: &dyn Records) -> Result<String, Error> {
    let mut text = String::new();
    for line in lines(records).await? {
        text += &serde_json::to_string(&line).map_err(|e| Error::Unreadable(e.to_string()))?;
        text.push('\n');
    }
    Ok(text)
}

/// The facts as CSV, for a spreadsheet: what a fact says stands as JSON in the last column.
///
/// # Errors
/// When the records cannot be read.
pub async fn csv(records: &dyn Records) -> Result<String, Error> {
    let bad = |e: &dyn std::fmt::Display| Error::Unreadable(e.to_string());
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "subject_kind",
        "subject",
        "version",
        "id",
        "happened_ms",
        "recorded_ms",
        "by",
        "corrects",
        "kind",
        "what",
    ])
    .map_err(|e| bad(&e))?;
    for line in lines(records).await? {
        let Line::Fact(f) = line else { continue };
        let e = f.entry;
        let what = serde_json::to_value(&e.what).map_err(|e| bad(&e))?;
        let kind = what.get("kind").and_then(|k| k.as_str()).unwrap_or_default().to_owned();
        out.write_record([
            e.subject.kind(),
            e.subject.id().as_str(),
            &e.version.to_string(),
            e.id.as_str(),
            &e.happened_ms.to_string(),
            &e.recorded_ms.to_string(),
            e.by.as_str(),
            e.corrects.as_ref().map_or("", |c| c.as_str()),
            &kind,
            &what.to_string(),
        ])
        .map_err(|e| bad(&e))?;
    }
    let bytes = out.into_inner().map_err(|e| bad(&e))?;
    String::from_utf8(bytes).map_err(|e| bad(&e))
}

/// Takes an export in. What is there already is left alone; what does not fit is refused with its line.
///
/// # Errors
/// The first line that cannot be taken in; the lines before it are in.
pub async fn import(records: &dyn Records, text: &str) -> Result<usize, Error> {
    let mut count = 0;
    for (i, raw) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let at = |e: &dyn std::fmt::Display| Error::Unreadable(format!("line {}: {e}", i + 1));
        match serde_json::from_str(raw).map_err(|e| at(&e))? {
            Line::Head { schema } if schema == SCHEMA => continue,
            Line::Head { schema } => {
                return Err(at(&format!("schema is {schema:?}; this version reads {SCHEMA:?}")));
            }
            Line::Plain(row) => records.put(row, false, None, 0).await.map_err(|e| at(&e))?,
            Line::Fact(f) => records.restore(f).await.map_err(|e| at(&e))?,
            Line::Seal(s) => records.restore_seal(s).await.map_err(|e| at(&e))?,
            Line::Audit(a) => records.restore_audit(a).await.map_err(|e| at(&e))?,
        }
        count += 1;
    }
    Ok(count)
}
