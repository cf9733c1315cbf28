//! All data out as JSON lines or CSV, and JSON lines in again.

use crate::{Error, Later, Plain, Records};
use serde::{Deserialize, Serialize};
use shop::chain::{Chained, Seal};
use shop::record::Audit;

/// The kinds of plain rows, in the order in which they are written.
pub const PLAIN: [&str; 6] = ["person", "keeper", "complaint", "price", "setting", "overlay"];

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

/// Where the lines of an export go, one after the other; an error ends the export.
pub type Out<'a> = &'a mut (dyn FnMut(Line) -> Later<'static, ()> + Send);

/// Every line of an export: plain rows, facts by subject, seals, audit rows. Files are named in the facts by
/// their hash; copy the folder `files` along. No more than one subject is held at a time.
///
/// # Errors
/// When the records cannot be read, or `out` refuses.
pub async fn lines(records: &dyn Records, out: Out<'_>) -> Result<(), Error> {
    out(Line::Head { schema: SCHEMA.into() }).await?;
    for kind in PLAIN {
        for row in records.find(kind, "", u32::MAX).await? {
            out(Line::Plain(row)).await?;
        }
    }
    for kind in ["car", "job", "lot"] {
        for s in records.all(kind).await? {
            for f in records.facts(&s.subject).await? {
                out(Line::Fact(f)).await?;
            }
        }
    }
    for seal in records.seals().await? {
        out(Line::Seal(seal)).await?;
    }
    for row in records.audit().await? {
        out(Line::Audit(row)).await?;
    }
    Ok(())
}

/// A line as it stands in the file.
///
/// # Errors
/// When it cannot be written as JSON.
pub fn json(line: &Line) -> Result<String, Error> {
    let mut text = serde_json::to_string(line).map_err(|e| Error::Unreadable(e.to_string()))?;
    text.push('\n');
    Ok(text)
}

/// The head of the facts as CSV.
pub const CSV_HEAD: &str = "subject_kind,subject,version,id,happened_ms,recorded_ms,by,corrects,kind,what\n";

/// A fact as a line of CSV, for a spreadsheet: what it says stands as JSON in the last column. Empty for other lines.
///
/// # Errors
/// When it cannot be written.
pub fn csv(line: &Line) -> Result<String, Error> {
    let bad = |e: &dyn std::fmt::Display| Error::Unreadable(e.to_string());
    let Line::Fact(f) = line else { return Ok(String::new()) };
    let e = &f.entry;
    let what = serde_json::to_value(&e.what).map_err(|e| bad(&e))?;
    let kind = what.get("kind").and_then(|k| k.as_str()).unwrap_or_default();
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        e.subject.kind(),
        e.subject.id().as_str(),
        &e.version.to_string(),
        e.id.as_str(),
        &e.happened_ms.to_string(),
        &e.recorded_ms.to_string(),
        e.by.as_str(),
        e.corrects.as_ref().map_or("", |c| c.as_str()),
        kind,
        &what.to_string(),
    ])
    .map_err(|e| bad(&e))?;
    let bytes = out.into_inner().map_err(|e| bad(&e))?;
    String::from_utf8(bytes).map_err(|e| bad(&e))
}

/// Takes an export in. What is there already is left alone; what does not fit is refused with its line.
///
/// # Errors
/// The first line that cannot be taken in; the lines before it are in.
pub async fn import(records: &dyn Records, text: &str) -> Result<usize, Error> {
    let mut count = 0;
    // Facts are taken in many at a time: a transaction each would take hours for a whole workshop.
    let mut facts: Vec<(usize, Chained)> = Vec::new();
    let mut plains: Vec<Plain> = Vec::new();
    for (i, raw) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let at = |e: &dyn std::fmt::Display| Error::Unreadable(format!("line {}: {e}", i + 1));
        let line = serde_json::from_str(raw).map_err(|e| at(&e))?;
        if let Line::Fact(f) = line {
            let other = facts.last().is_some_and(|l| l.1.entry.subject != f.entry.subject);
            if other && facts.len() >= TOGETHER {
                restore(records, &mut facts).await?;
            }
            facts.push((i + 1, f));
            count += 1;
            continue;
        }
        if let Line::Plain(row) = line {
            plains.push(row);
            if plains.len() >= TOGETHER {
                records.restore_plains(std::mem::take(&mut plains)).await?;
            }
            count += 1;
            continue;
        }
        restore(records, &mut facts).await?;
        match line {
            Line::Head { schema } if schema == SCHEMA => continue,
            Line::Head { schema } => {
                return Err(at(&format!("schema is {schema:?}; this version reads {SCHEMA:?}")));
            }
            Line::Plain(_) | Line::Fact(_) => {}
            Line::Seal(s) => records.restore_seals(vec![s]).await.map_err(|e| at(&e))?,
            Line::Audit(a) => records.restore_audit(a).await.map_err(|e| at(&e))?,
        }
        count += 1;
    }
    restore(records, &mut facts).await?;
    records.restore_plains(plains).await?;
    Ok(count)
}

/// Facts that are taken in together.
const TOGETHER: usize = 2000;

async fn restore(records: &dyn Records, facts: &mut Vec<(usize, Chained)>) -> Result<(), Error> {
    let new = std::mem::take(facts);
    if records.restore(new.iter().map(|f| f.1.clone()).collect()).await.is_ok() {
        return Ok(());
    }
    // Something does not fit: one by one, so that its line can be named.
    for (line, f) in new {
        let taken = records.restore(vec![f]).await;
        taken.map_err(|e| Error::Unreadable(format!("line {line}: {e}")))?;
    }
    Ok(())
}
