//! The records in a file: repeated sends, conflicts, altered facts, erased persons, export and import.

use shop::chain::Broken;
use shop::record::{Entry, Id, Subject, What};
use shop::work::{Needs, Refusal, Rules, permit};
use std::collections::BTreeMap;
use store::{Error, New, Plain, Records, Sqlite, export};

fn id(n: u8) -> Id {
    Id::v7(1_700_000_000_000 + u64::from(n), &[n; 10])
}

fn new(n: u8, subject: Subject, expected: Option<u64>, what: What) -> New {
    New {
        id: id(n),
        subject,
        expected,
        happened_ms: 1_700_000_000_000 + i64::from(n),
        recorded_ms: 1_700_000_000_000 + i64::from(n),
        by: id(200),
        corrects: None,
        what,
    }
}

fn judge(rules: &Rules) -> impl Fn(&[Entry], &Entry) -> Result<(), Refusal> + Send + Sync + '_ {
    |before, e| permit(before, e, rules, &Needs::default())
}

fn opened() -> What {
    What::JobOpened { car: id(100), triage: BTreeMap::from([("aus32_in_fuel".into(), false)]) }
}

/// A job whose quote was declined, signed.
async fn small_job(records: &Sqlite, rules: &Rules) {
    let job = Subject::Job(id(1));
    let judge = judge(rules);
    let declined =
        What::Answered { way: "refill".into(), gross: 0.1 + 0.2, currency: "EUR".into(), accepted: false };
    for (n, what) in [(2, opened()), (3, declined), (4, What::Signed {})] {
        records.add(new(n, job.clone(), Some(u64::from(n) - 2), what), &judge).await.expect("added");
    }
}

#[tokio::test]
async fn property_a_repeated_send_does_nothing_twice() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(folder.path()).await.expect("open");
    let rules = Rules::built_in().expect("rules");
    let judge = judge(&rules);
    let first = new(2, Subject::Job(id(1)), Some(0), opened());
    let a = records.add(first.clone(), &judge).await.expect("first");
    let b = records.add(first.clone(), &judge).await.expect("again");
    assert!(!a.repeated && b.repeated);
    assert_eq!(a.chained, b.chained);
    assert_eq!(records.facts(&Subject::Job(id(1))).await.expect("facts").len(), 1);
    let other = New { what: What::Locked { why: "oil".into() }, ..first };
    assert!(matches!(records.add(other, &judge).await, Err(Error::Taken(_))));
}

#[tokio::test]
async fn property_of_two_who_knew_the_same_one_is_told() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(folder.path()).await.expect("open");
    let rules = Rules::built_in().expect("rules");
    let judge = judge(&rules);
    let job = Subject::Job(id(1));
    records.add(new(2, job.clone(), Some(0), opened()), &judge).await.expect("opened");
    let lock = |n| new(n, job.clone(), Some(1), What::Locked { why: "oil".into() });
    let (one, two) = (lock(10), lock(11));
    let (a, b) = tokio::join!(records.add(one, &judge), records.add(two, &judge));
    let conflicts =
        [&a, &b].iter().filter(|r| matches!(r, Err(Error::Conflict { expected: 1, found: 2 }))).count();
    assert!(a.is_ok() != b.is_ok() && conflicts == 1, "{a:?} {b:?}");
}

#[tokio::test]
async fn property_an_altered_or_missing_fact_is_found() {
    for (statement, altered) in [
        ("UPDATE fact SET entry = REPLACE(entry, '\"accepted\":false', '\"accepted\":true')", true),
        (
            "UPDATE fact SET entry = REPLACE(entry, 'happened_ms\":1700000000003', 'happened_ms\":1700000000009')",
            true,
        ),
        ("DELETE FROM fact WHERE version = 3", false),
        ("DELETE FROM fact WHERE version = 2", false),
        ("UPDATE seal SET head = previous", false),
        ("DELETE FROM subject WHERE kind = 'job'; DELETE FROM fact", false),
    ] {
        let folder = tempfile::tempdir().expect("folder");
        let records = Sqlite::open(folder.path()).await.expect("open");
        small_job(&records, &Rules::built_in().expect("rules")).await;
        assert_eq!(records.verify().await.expect("as written"), (3, 1));
        records.close().await;
        let file = folder.path().join("records.sqlite");
        let url = format!("sqlite://{}", file.display());
        let pool = sqlx::SqlitePool::connect(&url).await.expect("pool");
        let done = sqlx::raw_sql(statement).execute(&pool).await.expect(statement);
        assert!(done.rows_affected() > 0, "{statement}");
        pool.close().await;
        let records = Sqlite::open(folder.path()).await.expect("open");
        let found = records.verify().await;
        assert!(found.is_err(), "not found: {statement}");
        assert_eq!(
            matches!(found, Err(Error::Broken(Broken::Altered { .. }))),
            altered,
            "{statement}: {found:?}"
        );
    }
}

#[tokio::test]
async fn property_what_is_exported_and_taken_in_again_is_equal() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(&folder.path().join("a")).await.expect("open");
    small_job(&records, &Rules::built_in().expect("rules")).await;
    let person =
        Plain { kind: "person".into(), id: id(200).to_string(), word: "ALMA".into(), body: "{}".into() };
    records.put(person, false, Some(&id(200)), 7).await.expect("person");
    let text = export::json_lines(&records).await.expect("export");
    let other = Sqlite::open(&folder.path().join("b")).await.expect("open");
    export::import(&other, &text).await.expect("import");
    assert_eq!(export::json_lines(&other).await.expect("export"), text);
    export::import(&other, &text).await.expect("import again");
    assert_eq!(export::json_lines(&other).await.expect("export"), text, "a second import adds nothing");
    assert_eq!(other.verify().await.expect("verify"), (3, 1));
    let forged = text.replace("\"accepted\":false", "\"accepted\":true");
    let third = Sqlite::open(&folder.path().join("c")).await.expect("open");
    let refused = export::import(&third, &forged).await.expect_err("forged");
    assert!(refused.to_string().contains("line 4"), "{refused}");
    assert_eq!(export::csv(&records).await.expect("csv").lines().count(), 4);
}

#[tokio::test]
async fn property_an_erased_person_leaves_the_chain_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(folder.path()).await.expect("open");
    small_job(&records, &Rules::built_in().expect("rules")).await;
    let row = Plain {
        kind: "keeper".into(),
        id: id(100).to_string(),
        word: "TR614M".into(),
        body: r#"{"plate":"TR 614 M"}"#.into(),
    };
    records.put(row.clone(), false, Some(&id(200)), 7).await.expect("put");
    assert_eq!(records.find("keeper", "614", 9).await.expect("find"), std::slice::from_ref(&row));
    assert_eq!(records.find("keeper", "%", 9).await.expect("find").len(), 0, "a pattern sign is a sign");
    records.put(row, true, Some(&id(200)), 8).await.expect("erase");
    assert!(records.plain("keeper", id(100).as_str()).await.expect("plain").is_none());
    records.verify().await.expect("whole");
    let text = export::json_lines(&records).await.expect("export");
    assert!(!text.contains("614"), "nothing of the plate is left, not in the audit either");
    assert_eq!(records.audit().await.expect("audit").len(), 2);
}

#[tokio::test]
async fn property_a_kept_file_is_found_by_its_content_and_an_altered_one_refused() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(folder.path()).await.expect("open");
    let hash = records.files().keep(b"a photo").expect("keep");
    assert_eq!(records.files().keep(b"a photo").expect("again"), hash);
    assert_eq!(records.files().get(&hash).expect("get").as_deref(), Some(&b"a photo"[..]));
    assert!(records.files().get("../records.sqlite").expect("get").is_none());
    let path = folder.path().join("files").join(&hash[..2]).join(&hash);
    std::fs::write(path, b"another").expect("write");
    assert!(records.files().get(&hash).is_err());
}
