//! The records in one SQLite file: write-ahead log, immediate writing transactions.

use crate::{Added, Error, Files, Judge, Later, New, Plain, Records, Standing};
use shop::chain::{self, BEGIN, Chained, Seal};
use shop::record::{Audit, Entry, Id, Subject, What};
use sqlx::migrate::{Migration, MigrationType, Migrator};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteRow, SqliteSynchronous,
};
use sqlx::{Row, SqlSafeStr, SqliteConnection};
use std::path::Path;
use std::time::Duration;

/// Begins a transaction that will write: SQLite then waits for its turn instead of failing halfway.
const WRITE: &str = "BEGIN IMMEDIATE";

/// Every version of the tables, the oldest first; a version that was given out is never changed. Not by the macro
/// that reads a folder: it would compile the database a second time, for itself.
fn migrations() -> Migrator {
    let records = include_str!("../migrations/0001_records.sql").into_sql_str();
    Migrator::with_migrations(vec![Migration::new(
        1,
        "records".into(),
        MigrationType::Simple,
        records,
        false,
    )])
}

/// The records in a folder.
#[derive(Debug, Clone)]
pub struct Sqlite {
    pool: SqlitePool,
    files: Files,
}

impl Sqlite {
    /// Opens the records in a folder, or begins them there.
    ///
    /// # Errors
    /// When the folder or the database cannot be opened or brought up to this version.
    pub async fn open(folder: &Path) -> Result<Self, Error> {
        let files = Files::new(&folder.join("files"))?;
        let options = SqliteConnectOptions::new()
            .filename(folder.join("records.sqlite"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            // A crash of the machine may not lose what was signed.
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(Duration::from_secs(10))
            .foreign_keys(true);
        let pool = SqlitePoolOptions::new().max_connections(8).connect_with(options).await?;
        migrations().run(&pool).await?;
        Ok(Self { pool, files })
    }

    /// Closes the records: all is written.
    pub async fn close(&self) {
        self.pool.close().await;
    }
}

fn chained(row: &SqliteRow) -> Result<Chained, Error> {
    let text: String = row.try_get("entry")?;
    let entry = serde_json::from_str(&text).map_err(|e| Error::Unreadable(e.to_string()))?;
    Ok(Chained { entry, hash: row.try_get("hash")? })
}

fn standing(row: &SqliteRow) -> Result<Standing, Error> {
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

fn seal(row: &SqliteRow) -> Result<Seal, Error> {
    Ok(Seal {
        number: number(row.try_get("number")?)?,
        job: Id::parse(row.try_get("job")?).map_err(Error::Unreadable)?,
        version: number(row.try_get("version")?)?,
        head: row.try_get("head")?,
        previous: row.try_get("previous")?,
        hash: row.try_get("hash")?,
    })
}

fn plain(row: &SqliteRow) -> Result<Plain, Error> {
    Ok(Plain {
        kind: row.try_get("kind")?,
        id: row.try_get("id")?,
        word: row.try_get("word")?,
        body: row.try_get("body")?,
    })
}

fn number(value: i64) -> Result<u64, Error> {
    u64::try_from(value).map_err(|e| Error::Unreadable(e.to_string()))
}

fn long(value: u64) -> Result<i64, Error> {
    i64::try_from(value).map_err(|e| Error::Unreadable(e.to_string()))
}

async fn facts(c: &mut SqliteConnection, subject: &Subject) -> Result<Vec<Chained>, Error> {
    sqlx::query("SELECT entry, hash FROM fact WHERE subject_kind = $1 AND subject = $2 ORDER BY version")
        .bind(subject.kind())
        .bind(subject.id().as_str())
        .fetch_all(c)
        .await?
        .iter()
        .map(chained)
        .collect()
}

async fn write(c: &mut SqliteConnection, f: &Chained) -> Result<(), Error> {
    let e = &f.entry;
    let text = serde_json::to_string(e).map_err(|e| Error::Unreadable(e.to_string()))?;
    sqlx::query(
        "INSERT INTO fact (id, subject_kind, subject, version, happened_ms, recorded_ms, entry, hash) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(e.id.as_str())
    .bind(e.subject.kind())
    .bind(e.subject.id().as_str())
    .bind(long(e.version)?)
    .bind(e.happened_ms)
    .bind(e.recorded_ms)
    .bind(text)
    .bind(&f.hash)
    .execute(&mut *c)
    .await?;
    let about = match &e.what {
        What::JobOpened { car, .. } => Some(car.to_string()),
        _ => None,
    };
    let open = i64::from(!matches!(e.what, What::HandedOver {} | What::LotBlocked { .. }));
    sqlx::query(
        "INSERT INTO subject (kind, id, version, head, about, open, opened_ms, changed_ms) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8) \
         ON CONFLICT (kind, id) DO UPDATE SET version = excluded.version, head = excluded.head, \
         open = CASE WHEN subject.open = 0 THEN 0 ELSE excluded.open END, changed_ms = excluded.changed_ms",
    )
    .bind(e.subject.kind())
    .bind(e.subject.id().as_str())
    .bind(long(e.version)?)
    .bind(&f.hash)
    .bind(about)
    .bind(open)
    .bind(e.happened_ms)
    .bind(e.recorded_ms)
    .execute(c)
    .await?;
    Ok(())
}

async fn write_seal(c: &mut SqliteConnection, s: &Seal) -> Result<(), Error> {
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

async fn write_audit(c: &mut SqliteConnection, a: &Audit) -> Result<(), Error> {
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

async fn last_seal(c: &mut SqliteConnection) -> Result<Option<Seal>, Error> {
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

impl Records for Sqlite {
    fn add<'a>(&'a self, new: New, judge: Judge<'a>) -> Later<'a, Added> {
        Box::pin(async move {
            let mut tx = self.pool.begin_with(WRITE).await?;
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
            write(&mut tx, &added).await?;
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

    fn restore(&self, chained: Chained) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = self.pool.begin_with(WRITE).await?;
            let before = facts(&mut tx, &chained.entry.subject).await?;
            if before.contains(&chained) {
                return Ok(());
            }
            let mut all = before;
            all.push(chained);
            chain::verify(&all)?;
            if let Some(last) = all.last() {
                write(&mut tx, last).await?;
            }
            tx.commit().await?;
            Ok(())
        })
    }

    fn restore_seal(&self, new: Seal) -> Later<'_, ()> {
        Box::pin(async move {
            let mut tx = self.pool.begin_with(WRITE).await?;
            let found = sqlx::query("SELECT * FROM seal WHERE number = $1")
                .bind(long(new.number)?)
                .fetch_optional(&mut *tx)
                .await?;
            if found.as_ref().map(seal).transpose()?.as_ref() == Some(&new) {
                return Ok(());
            }
            let previous = last_seal(&mut tx).await?.map_or(BEGIN.to_owned(), |s| s.hash);
            let job = facts(&mut tx, &Subject::Job(new.job.clone())).await?;
            new.verify(&job, &previous)?;
            write_seal(&mut tx, &new).await?;
            tx.commit().await?;
            Ok(())
        })
    }

    fn restore_audit(&self, audit: Audit) -> Later<'_, ()> {
        Box::pin(async move {
            if self.audit().await?.contains(&audit) {
                return Ok(());
            }
            let mut tx = self.pool.begin_with(WRITE).await?;
            write_audit(&mut tx, &audit).await?;
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
            let mut tx = self.pool.begin_with(WRITE).await?;
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
                sqlx::query(
                    "INSERT INTO plain (kind, id, word, body) VALUES ($1, $2, $3, $4) \
                     ON CONFLICT (kind, id) DO UPDATE SET word = excluded.word, body = excluded.body",
                )
                .bind(&row.kind)
                .bind(&row.id)
                .bind(&row.word)
                .bind(&row.body)
                .execute(&mut *tx)
                .await?;
            }
            // A row that is taken in from an export brings its audit rows along.
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

    fn audit(&self) -> Later<'_, Vec<Audit>> {
        Box::pin(async move {
            sqlx::query("SELECT * FROM audit ORDER BY number")
                .fetch_all(&self.pool)
                .await?
                .iter()
                .map(|row| {
                    Ok(Audit {
                        table: row.try_get("kind")?,
                        row: row.try_get("id")?,
                        at_ms: row.try_get("at_ms")?,
                        by: Id::parse(row.try_get("by")?).map_err(Error::Unreadable)?,
                        before: row.try_get("before")?,
                        after: row.try_get("after")?,
                    })
                })
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
