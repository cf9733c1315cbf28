//! The records in a database that speaks SQL: one text for all of them, each with its own way in.

#[cfg(feature = "postgres")]
mod postgres;
mod sqlite;

#[cfg(feature = "postgres")]
pub use postgres::Postgres;
pub use sqlite::Sqlite;

use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};

/// Every version of the tables, the oldest first; a version that was given out is never changed. Not by the macro
/// that reads a folder: it would compile the database a second time, for itself.
fn migrations() -> Migrator {
    let all = [
        ("records", include_str!("../../migrations/0001_records.sql")),
        ("made", include_str!("../../migrations/0002_made.sql")),
        ("jobs of a car", include_str!("../../migrations/0003_jobs_of_a_car.sql")),
    ];
    let one = |(n, (name, sql)): (i64, (&'static str, &'static str))| {
        Migration::new(n, name.into(), MigrationType::Simple, sql.into_sql_str(), false)
    };
    Migrator::with_migrations((1..).zip(all).map(one).collect())
}
