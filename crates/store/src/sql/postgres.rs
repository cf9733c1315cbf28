//! A PostgreSQL server, for several workshops or machines; the files lie in a folder that all of them see.

use super::migrations;
use sqlx::postgres::{PgConnection as Connection, PgPool, PgPoolOptions, PgRow as DbRow};
use sqlx::{Postgres as Database, Transaction};
use std::path::Path;

use Postgres as Db;

/// The records on a server.
#[derive(Debug, Clone)]
pub struct Postgres {
    pool: PgPool,
    files: Files,
}

impl Postgres {
    /// Opens the records of a database by its address (`postgres://...`), or begins them there; files go to a folder.
    ///
    /// # Errors
    /// When the server or the folder cannot be reached or brought up to this version.
    pub async fn open(address: &str, files: &Path) -> Result<Self, Error> {
        let files = Files::new(files)?;
        let pool = PgPoolOptions::new().max_connections(16).connect(address).await?;
        migrations().run(&pool).await?;
        Ok(Self { pool, files })
    }

    /// Closes the records: all is written.
    pub async fn close(&self) {
        self.pool.close().await;
    }
}

/// One writer at a time, as in SQLite: numbers of facts, seals and audit rows follow one another without a gap. Readers
/// are not held up.
async fn begin(pool: &PgPool) -> Result<Transaction<'static, Database>, Error> {
    let mut tx = pool.begin().await?;
    sqlx::query("LOCK TABLE fact IN EXCLUSIVE MODE").execute(&mut *tx).await?;
    Ok(tx)
}

include!("records.rs");
