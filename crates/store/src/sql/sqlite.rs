//! One SQLite file: write-ahead log, immediate writing transactions.

use super::migrations;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteRow as DbRow,
    SqliteSynchronous,
};
use sqlx::{Sqlite as Database, SqliteConnection as Connection, Transaction};
use std::path::Path;
use std::time::Duration;

use Sqlite as Db;

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
        // A crash of the machine may not lose what was signed.
        Self::open_with(folder, SqliteSynchronous::Full).await
    }

    /// Opens invented records: writing does not wait for the disk, and a crash of the machine may spoil them.
    ///
    /// # Errors
    /// As [`Sqlite::open`].
    pub async fn open_invented(folder: &Path) -> Result<Self, Error> {
        Self::open_with(folder, SqliteSynchronous::Off).await
    }

    async fn open_with(folder: &Path, synchronous: SqliteSynchronous) -> Result<Self, Error> {
        let files = Files::new(&folder.join("files"))?;
        let options = SqliteConnectOptions::new()
            .filename(folder.join("records.sqlite"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(synchronous)
            .busy_timeout(Duration::from_secs(10))
            .foreign_keys(true);
        let pool = SqlitePoolOptions::new().max_connections(4).connect_with(options).await?;
        migrations().run(&pool).await?;
        Ok(Self { pool, files })
    }

    /// Closes the records: all is written.
    pub async fn close(&self) {
        self.pool.close().await;
    }
}

/// SQLite then waits for its turn instead of failing halfway.
async fn begin(pool: &SqlitePool) -> Result<Transaction<'static, Database>, Error> {
    Ok(pool.begin_with("BEGIN IMMEDIATE").await?)
}

include!("records.rs");
