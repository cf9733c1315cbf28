// The records in SQL, the same for every database. The module that includes this file names the database: `Db` with its
// `pool` and `files`, the types `DbRow` and `Connection`, and `begin`, which begins a transaction that will write and lets
// no other write meanwhile.

use crate::{Added, Error, Files, Judge, Later, Made, New, Plain, Records, Standing};
use shop::chain::{self, BEGIN, Chained, Seal};
use shop::record::{Audit, Entry, Id, Subject, What};
use sqlx::{QueryBuilder, Row};

fn chained(row: &DbRow) -> Result<Chained, Error> {
    let text: String = row.try_get("entry")?;
    let entry = serde_json::from_str(&text).map_err(|e| Error::Unreadable(e.to_string()))?;
    Ok(Chained { entry, hash: row.try_get("hash")? })
}

fn standing(row: &DbRow) -> Result<Standing, Error> {
    let id = |text: String| Id::parse(&text).map_err(Error::Unreadable);
    let kind: String = row.try_get("kind")?;
    let subject = Subject::of(&kind, id(row.try_get("id")?)?)
        .ok_or_else(|| Error::Unreadable(format!("kind of subject {kind:?}")))?;
    let about: Option<String> = row.try_get("about")?;
    Ok(Standing {
        subject,
        version: number(row.try_get("version")?)?,
        about: about.map(id).transpose()?,
        open: row.try_get::<i64, _>("open")? != 0,
        opened_ms: row.try_get("opened_ms")?,
        changed_ms: row.try_get("changed_ms")?,
    })
}

fn seal(row: &DbRow) -> Result<Seal, Error> {
    Ok(Seal {
        number: number(row.try_get("number")?)?,
        job: Id::parse(row.try_get("job")?).map_err(Error::Unreadable)?,
        version: number(row.try_get("version")?)?,
        head: row.try_get("head")?,
        previous: row.try_get("previous")?,
        hash: row.try_get("hash")?,
    })
}

fn plain(row: &DbRow) -> Result<Plain, Error> {
    Ok(Plain {
        kind: row.try_get("kind")?,
        id: row.try_get("id")?,
        word: row.try_get("word")?,
        body: row.try_get("body")?,
    })
}

fn audit_row(row: &DbRow) -> Result<Audit, Error> {
    Ok(Audit {
        table: row.try_get("kind")?,
        row: row.try_get("id")?,
        at_ms: row.try_get("at_ms")?,
        by: Id::parse(row.try_get("by")?).map_err(Error::Unreadable)?,
        before: row.try_get("before")?,
        after: row.try_get("after")?,
    })
}

fn made(row: &DbRow) -> Result<Made, Error> {
    Ok(Made {
        kind: row.try_get("kind")?,
        id: row.try_get("id")?,
        program: row.try_get("program")?,
        version: number(row.try_get("version")?)?,
        rank: row.try_get("rank")?,
        body: row.try_get("body")?,
    })
}

fn number(value: i64) -> Result<u64, Error> {
    u64::try_from(value).map_err(|e| Error::Unreadable(e.to_string()))
}

fn long(value: u64) -> Result<i64, Error> {
    i64::try_from(value).map_err(|e| Error::Unreadable(e.to_string()))
}

async fn facts(c: &mut Connection, subject: &Subject) -> Result<Vec<Chained>, Error> {
    sqlx::query("SELECT entry, hash FROM fact WHERE subject_kind = $1 AND subject = $2 ORDER BY version")
        .bind(subject.kind())
        .bind(subject.id().as_str())
        .fetch_all(c)
        .await?
        .iter()
        .map(chained)
        .collect()
}

/// Facts in one statement: databases take some 30 000 values at once.
const FACTS_TOGETHER: usize = 500;

/// Writes facts of one subject, in their order, and where the subject then stands.
async fn write(c: &mut Connection, new: &[Chained]) -> Result<(), Error> {
    let (Some(first), Some(last)) = (new.first(), new.last()) else { return Ok(()) };
    let mut rows = Vec::with_capacity(new.len());
    for f in new {
        let text = serde_json::to_string(&f.entry).map_err(|e| Error::Unreadable(e.to_string()))?;
        rows.push((f, long(f.entry.version)?, text));
    }
    for part in rows.chunks(FACTS_TOGETHER) {
        QueryBuilder::new(
            "INSERT INTO fact (id, subject_kind, subject, version, happened_ms, recorded_ms, entry, hash) ",
        )
        .push_values(part, |mut row, (f, version, text)| {
            let e = &f.entry;
            row.push_bind(e.id.as_str())
                .push_bind(e.subject.kind())
                .push_bind(e.subject.id().as_str())
                .push_bind(*version)
                .push_bind(e.happened_ms)
                .push_bind(e.recorded_ms)
                .push_bind(text)
                .push_bind(&f.hash);
        })
        .build()
        .execute(&mut *c)
        .await?;
    }
    let about = new.iter().find_map(|f| match &f.entry.what {
        What::JobOpened { car, .. } => Some(car.to_string()),
        _ => None,
    });
    let closes = |f: &Chained| matches!(f.entry.what, What::HandedOver {} | What::LotBlocked { .. });
    sqlx::query(
        "INSERT INTO subject (kind, id, version, head, about, open, opened_ms, changed_ms) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8) \
         ON CONFLICT (kind, id) DO UPDATE SET version = excluded.version, head = excluded.head, \
         open = CASE WHEN subject.open = 0 THEN 0 ELSE excluded.open END, changed_ms = excluded.changed_ms",
    )
    .bind(last.entry.subject.kind())
    .bind(last.entry.subject.id().as_str())
    .bind(long(last.entry.version)?)
    .bind(&last.hash)
    .bind(about)
    .bind(i64::from(!new.iter().any(closes)))
    .bind(first.entry.happened_ms)
    .bind(last.entry.recorded_ms)
    .execute(c)
    .await?;
    Ok(())
}

async fn write_seal(c: &mut Connection, s: &Seal) -> Result<(), Error> {
    sqlx::query(
        "INSERT INTO seal (number, job, version, head, previous, hash) VALUES ($1, $2, $3, $4, $5, $6)",
    )
    .bind(long(s.number)?)
    .bind(s.job.as_str())
    .bind(long(s.version)?)
    .bind(&s.head)
    .bind(&s.previous)
    .bind(&s.hash)
    .execute(c)
    .await?;
    Ok(())
}

/// Rows of a table of ours by kind and identifiers.
async fn by_ids(
    c: &mut Connection,
    table: &'static str,
    kind: &str,
    ids: &[String],
) -> Result<Vec<DbRow>, Error> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let mut query = QueryBuilder::new("SELECT * FROM ");
    query.push(table).push(" WHERE kind = ").push_bind(kind).push(" AND id IN (");
    let mut list = query.separated(", ");
    for id in ids {
        list.push_bind(id);
    }
    query.push(")");
    Ok(query.build().fetch_all(c).await?)
}

async fn write_plain(c: &mut Connection, row: &Plain) -> Result<(), Error> {
    sqlx::query(
        "INSERT INTO plain (kind, id, word, body) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (kind, id) DO UPDATE SET word = excluded.word, body = excluded.body",
    )
    .bind(&row.kind)
    .bind(&row.id)
    .bind(&row.word)
    .bind(&row.body)
    .execute(c)
    .await?;
    Ok(())
}

async fn write_audit(c: &mut Connection, a: &Audit) -> Result<(), Error> {
    sqlx::query(
        "INSERT INTO audit (number, kind, id, at_ms, by, before, after) \
         VALUES ((SELECT COALESCE(MAX(number), 0) + 1 FROM audit), $1, $2, $3, $4, $5, $6)",
    )
    .bind(&a.table)
    .bind(&a.row)
    .bind(a.at_ms)
    .bind(a.by.as_str())
    .bind(&a.before)
    .bind(&a.after)
    .execute(c)
    .await?;
    Ok(())
}

async fn last_seal(c: &mut Connection) -> Result<Option<Seal>, Error> {
    sqlx::query("SELECT * FROM seal ORDER BY number DESC LIMIT 1")
        .fetch_optional(c)
        .await?
        .as_ref()
        .map(seal)
        .transpose()
}

fn hash_of(text: &str) -> String {
    blake3::hash(text.as_bytes()).to_hex().to_string()
}

impl Records for Db {
    fn add<'a>(&'a self, new: New, judge: Judge<'a>) -> Later<'a, Added> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            let known = sqlx::query("SELECT entry, hash FROM fact WHERE id = $1")
                .bind(new.id.as_str())
                .fetch_optional(&mut *tx)
                .await?;
            if let Some(row) = known {
                let kept = chained(&row)?;
                // The time of a second send may be another: whoever did not say when it happened meant now.
                let e = &kept.entry;
                let same = e.subject == new.subject
                    && e.what == new.what
                    && e.by == new.by
                    && e.corrects == new.corrects;
                return if same {
                    Ok(Added { chained: kept, repeated: true, seal: None })
                } else {
                    Err(Error::Taken(new.id))
                };
            }
            let before = facts(&mut tx, &new.subject).await?;
            let found = before.len() as u64;
            if let Some(expected) = new.expected
                && expected != found
            {
                return Err(Error::Conflict { expected, found });
            }
            let previous = before.last().map_or(BEGIN, |f| f.hash.as_str()).to_owned();
            let entry = Entry {
                id: new.id,
                subject: new.subject,
                version: found + 1,
                happened_ms: new.happened_ms,
                recorded_ms: new.recorded_ms,
                by: new.by,
                corrects: new.corrects,
                what: new.what,
            };
            let entries: Vec<Entry> = before.into_iter().map(|f| f.entry).collect();
            judge(&entries, &entry)?;
            let hash = chain::link(&previous, &entry)?;
            let added = Chained { entry, hash };
            write(&mut tx, std::slice::from_ref(&added)).await?;
            let mut sealed = None;
            if let (What::Signed {}, Subject::Job(job)) = (&added.entry.what, &added.entry.subject) {
                let last = last_seal(&mut tx).await?;
                let (number, previous) = last.map_or((1, BEGIN.to_owned()), |s| (s.number + 1, s.hash));
                let s = Seal::new(number, job.clone(), added.entry.version, added.hash.clone(), previous);
                write_seal(&mut tx, &s).await?;
                sealed = Some(s);
            }
            tx.commit().await?;
            Ok(Added { chained: added, repeated: false, seal: sealed })
        })
    }

    fn restore(&self, new: Vec<Chained>) -> Later<'_, ()> {
        Box::pin(async move {
            let mut subjects: Vec<(Subject, Vec<Chained>)> = Vec::new();
            for f in new {
                match subjects.last_mut() {
                    Some((s, list)) if *s == f.entry.subject => list.push(f),
                    _ => subjects.push((f.entry.subject.clone(), vec![f])),
                }
            }
            let mut tx = begin(&self.pool).await?;
            for (subject, new) in subjects {
                let mut all = facts(&mut tx, &subject).await?;
                let there = all.len();
                for f in new {
                    if !all.contains(&f) {
                        all.push(f);
                    }
                }
                chain::verify(&all)?;
                write(&mut tx, all.get(there..).unwrap_or_default()).await?;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn restore_seals(&self, new: Vec<Seal>) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            let mut previous = last_seal(&mut tx).await?.map_or(BEGIN.to_owned(), |s| s.hash);
            for s in new {
                let found = sqlx::query("SELECT * FROM seal WHERE number = $1")
                    .bind(long(s.number)?)
                    .fetch_optional(&mut *tx)
                    .await?;
                if found.as_ref().map(seal).transpose()?.as_ref() == Some(&s) {
                    continue;
                }
                let job = facts(&mut tx, &Subject::Job(s.job.clone())).await?;
                s.verify(&job, &previous)?;
                write_seal(&mut tx, &s).await?;
                previous = s.hash;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn restore_audit(&self, audit: Audit) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            let rows = sqlx::query("SELECT * FROM audit WHERE kind = $1 AND id = $2 AND at_ms = $3")
                .bind(&audit.table)
                .bind(&audit.row)
                .bind(audit.at_ms)
                .fetch_all(&mut *tx)
                .await?;
            let known = rows.iter().map(audit_row).collect::<Result<Vec<_>, _>>()?;
            if !known.contains(&audit) {
                write_audit(&mut tx, &audit).await?;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn facts<'a>(&'a self, subject: &'a Subject) -> Later<'a, Vec<Chained>> {
        Box::pin(async move { facts(&mut *self.pool.acquire().await?, subject).await })
    }

    fn standing<'a>(&'a self, subject: &'a Subject) -> Later<'a, Option<Standing>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM subject WHERE kind = $1 AND id = $2")
                .bind(subject.kind())
                .bind(subject.id().as_str())
                .fetch_optional(&self.pool)
                .await?
                .as_ref()
                .map(standing)
                .transpose()
        })
    }

    fn open<'a>(&'a self, kind: &'a str) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM subject WHERE kind = $1 AND open = 1 ORDER BY opened_ms, id")
                .bind(kind)
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(standing)
                .collect()
        })
    }

    fn all<'a>(&'a self, kind: &'a str) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM subject WHERE kind = $1 ORDER BY opened_ms, id")
                .bind(kind)
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(standing)
                .collect()
        })
    }

    fn newest<'a>(&'a self, kind: &'a str, before_ms: i64, count: u32) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            sqlx::query(
                "SELECT * FROM subject WHERE kind = $1 AND opened_ms < $2 ORDER BY opened_ms DESC, id LIMIT $3",
            )
            .bind(kind)
            .bind(before_ms)
            .bind(i64::from(count))
            .fetch_all(&self.pool)
            .await?
            .iter()
            .map(standing)
            .collect()
        })
    }

    fn jobs_of<'a>(&'a self, car: &'a Id) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM subject WHERE kind = 'job' AND about = $1 ORDER BY opened_ms DESC, id")
                .bind(car.as_str())
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(standing)
                .collect()
        })
    }

    fn seals(&self) -> Later<'_, Vec<Seal>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM seal ORDER BY number")
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(seal)
                .collect()
        })
    }

    fn seal_of<'a>(&'a self, job: &'a Id) -> Later<'a, Option<Seal>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM seal WHERE job = $1")
                .bind(job.as_str())
                .fetch_optional(&self.pool)
                .await?
                .as_ref()
                .map(seal)
                .transpose()
        })
    }

    fn put<'a>(&'a self, row: Plain, erase: bool, by: Option<&'a Id>, at_ms: i64) -> Later<'a, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            let old = sqlx::query("SELECT * FROM plain WHERE kind = $1 AND id = $2")
                .bind(&row.kind)
                .bind(&row.id)
                .fetch_optional(&mut *tx)
                .await?
                .as_ref()
                .map(plain)
                .transpose()?;
            if erase {
                sqlx::query("DELETE FROM plain WHERE kind = $1 AND id = $2")
                    .bind(&row.kind)
                    .bind(&row.id)
                    .execute(&mut *tx)
                    .await?;
            } else {
                write_plain(&mut tx, &row).await?;
            }
            // A row that nobody changed but the program brings no audit row.
            if let Some(by) = by {
                let audit = Audit {
                    table: row.kind,
                    row: row.id,
                    at_ms,
                    by: by.clone(),
                    before: old.map(|o| hash_of(&o.body)),
                    after: (!erase).then(|| hash_of(&row.body)),
                };
                write_audit(&mut tx, &audit).await?;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn plain<'a>(&'a self, kind: &'a str, id: &'a str) -> Later<'a, Option<Plain>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM plain WHERE kind = $1 AND id = $2")
                .bind(kind)
                .bind(id)
                .fetch_optional(&self.pool)
                .await?
                .as_ref()
                .map(plain)
                .transpose()
        })
    }

    fn find<'a>(&'a self, kind: &'a str, word: &'a str, count: u32) -> Later<'a, Vec<Plain>> {
        Box::pin(async move {
            // The three signs of a pattern stand for themselves.
            let part = word.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_");
            sqlx::query(
                "SELECT * FROM plain WHERE kind = $1 AND word LIKE $2 ESCAPE '\\' ORDER BY word, id LIMIT $3",
            )
            .bind(kind)
            .bind(format!("%{part}%"))
            .bind(i64::from(count))
            .fetch_all(&self.pool)
            .await?
            .iter()
            .map(plain)
            .collect()
        })
    }

    fn restore_plains(&self, rows: Vec<Plain>) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            for row in &rows {
                write_plain(&mut tx, row).await?;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn plains<'a>(&'a self, kind: &'a str, ids: &'a [String]) -> Later<'a, Vec<Plain>> {
        Box::pin(async move {
            by_ids(&mut *self.pool.acquire().await?, "plain", kind, ids).await?.iter().map(plain).collect()
        })
    }

    fn standings<'a>(&'a self, kind: &'a str, ids: &'a [String]) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            by_ids(&mut *self.pool.acquire().await?, "subject", kind, ids).await?.iter().map(standing).collect()
        })
    }

    fn made<'a>(&'a self, kind: &'a str, id: &'a str) -> Later<'a, Option<Made>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM made WHERE kind = $1 AND id = $2")
                .bind(kind)
                .bind(id)
                .fetch_optional(&self.pool)
                .await?
                .as_ref()
                .map(made)
                .transpose()
        })
    }

    fn made_from<'a>(&'a self, kind: &'a str, from: (i64, &'a str), count: u32) -> Later<'a, Vec<Made>> {
        Box::pin(async move {
            sqlx::query(
                "SELECT * FROM made WHERE kind = $1 AND (rank > $2 OR (rank = $2 AND id > $3)) \
                 ORDER BY rank, id LIMIT $4",
            )
            .bind(kind)
            .bind(from.0)
            .bind(from.1)
            .bind(i64::from(count))
            .fetch_all(&self.pool)
            .await?
            .iter()
            .map(made)
            .collect()
        })
    }

    fn put_made(&self, new: Made) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            sqlx::query(
                "INSERT INTO made (kind, id, program, version, rank, body) VALUES ($1, $2, $3, $4, $5, $6) \
                 ON CONFLICT (kind, id) DO UPDATE SET program = excluded.program, \
                 version = excluded.version, rank = excluded.rank, body = excluded.body",
            )
            .bind(&new.kind)
            .bind(&new.id)
            .bind(&new.program)
            .bind(long(new.version)?)
            .bind(new.rank)
            .bind(&new.body)
            .execute(&mut *tx)
            .await?;
            tx.commit().await?;
            Ok(())
        })
    }

    fn forget_made<'a>(&'a self, program: &'a str, kind: &'a str, below: i64) -> Later<'a, ()> {
        Box::pin(async move {
            let mut tx = begin(&self.pool).await?;
            sqlx::query("DELETE FROM made WHERE program <> $1 OR (kind = $2 AND rank < $3)")
                .bind(program)
                .bind(kind)
                .bind(below)
                .execute(&mut *tx)
                .await?;
            tx.commit().await?;
            Ok(())
        })
    }

    fn stale<'a>(&'a self, kind: &'a str, made: &'a str, count: u32) -> Later<'a, Vec<Standing>> {
        Box::pin(async move {
            sqlx::query(
                "SELECT s.* FROM subject s LEFT JOIN made m \
                 ON m.kind = $2 AND m.id = s.id AND m.version = s.version \
                 WHERE s.kind = $1 AND m.id IS NULL ORDER BY s.changed_ms DESC, s.id LIMIT $3",
            )
            .bind(kind)
            .bind(made)
            .bind(i64::from(count))
            .fetch_all(&self.pool)
            .await?
            .iter()
            .map(standing)
            .collect()
        })
    }

    fn audit(&self) -> Later<'_, Vec<Audit>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM audit ORDER BY number")
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(audit_row)
                .collect()
        })
    }

    fn verify(&self) -> Later<'_, (u64, u64)> {
        Box::pin(async move {
            let mut c = self.pool.acquire().await?;
            let rows = sqlx::query("SELECT kind, id, version, head FROM subject ORDER BY kind, id")
                .fetch_all(&mut *c)
                .await?;
            let mut count = 0;
            for row in &rows {
                let kind: String = row.try_get("kind")?;
                let id = Id::parse(row.try_get("id")?).map_err(Error::Unreadable)?;
                let Some(subject) = Subject::of(&kind, id) else {
                    return Err(Error::Unreadable(format!("kind of subject {kind:?}")));
                };
                let all = facts(&mut c, &subject).await?;
                let head = chain::verify(&all)?;
                // The newest facts of a subject cannot be cut off unseen.
                if head != row.try_get::<String, _>("head")? {
                    return Err(chain::Broken::Gap {
                        kind: subject.kind(),
                        subject: subject.id().to_string(),
                        expected: number(row.try_get("version")?)?,
                        found: all.len() as u64,
                    }
                    .into());
                }
                count += all.len() as u64;
            }
            drop(c);
            let seals = self.seals().await?;
            let mut previous = BEGIN.to_owned();
            for s in &seals {
                let job = self.facts(&Subject::Job(s.job.clone())).await?;
                s.verify(&job, &previous)?;
                previous.clone_from(&s.hash);
            }
            Ok((count, seals.len() as u64))
        })
    }

    fn files(&self) -> &Files {
        &self.files
    }
}
