//! The records in a file: repeated sends, conflicts, altered facts, erased persons, export and import.

use shop::chain::Broken;
use shop::record::{Entry, Id, Subject, What};
use shop::work::{Needs, Refusal, Rules, permit};
use std::collections::BTreeMap;
use store::{Error, Made, New, Plain, Records, Sqlite, export};

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
async fn small_job(records: &dyn Records, rules: &Rules) {
    let job = Subject::Job(id(1));
    let judge = judge(rules);
    let declined =
        What::Answered { way: "refill".into(), gross: 0.1 + 0.2, currency: "EUR".into(), accepted: false };
    for (n, what) in [(2, opened()), (3, declined), (4, What::Signed {})] {
        records.add(new(n, job.clone(), Some(u64::from(n) - 2), what), &judge).await.expect("added");
    }
}

async fn exported(records: &dyn Records, text: fn(&export::Line) -> Result<String, store::Error>) -> String {
    let all = std::sync::Arc::new(std::sync::Mutex::new(String::new()));
    let into = all.clone();
    let mut out = |line: export::Line| -> store::Later<'static, ()> {
        into.lock().expect("whole").push_str(&text(&line).expect("text"));
        Box::pin(async { Ok(()) })
    };
    export::lines(records, &mut out).await.expect("export");
    all.lock().expect("whole").clone()
}

async fn json_lines(records: &dyn Records) -> String {
    exported(records, export::json).await
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
    let text = json_lines(&records).await;
    let other = Sqlite::open(&folder.path().join("b")).await.expect("open");
    export::import(&other, &text).await.expect("import");
    assert_eq!(json_lines(&other).await, text);
    export::import(&other, &text).await.expect("import again");
    assert_eq!(json_lines(&other).await, text, "a second import adds nothing");
    assert_eq!(other.verify().await.expect("verify"), (3, 1));
    let forged = text.replace("\"accepted\":false", "\"accepted\":true");
    let third = Sqlite::open(&folder.path().join("c")).await.expect("open");
    let refused = export::import(&third, &forged).await.expect_err("forged");
    assert!(refused.to_string().contains("line 4"), "{refused}");
    let table = exported(&records, export::csv).await;
    assert_eq!(table.lines().count(), 3, "one line a fact: {table}");
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
    let text = json_lines(&records).await;
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

#[tokio::test]
async fn property_what_was_worked_out_is_found_by_rank_until_the_facts_are_more() {
    let folder = tempfile::tempdir().expect("folder");
    let records = Sqlite::open(folder.path()).await.expect("open");
    made(&records).await;
}

/// What is worked out: by rank, made again when facts were added, forgotten with the program that made it.
async fn made(records: &dyn Records) {
    let rules = Rules::built_in().expect("rules");
    let car = |n: u8| Subject::Car(id(n));
    for n in [101, 102, 103] {
        records.add(new(n, car(n), Some(0), What::CarOpened {}), &judge(&rules)).await.expect("car");
    }
    let stale = async || records.stale("car", "due", 9).await.expect("stale").len();
    assert_eq!(stale().await, 3);
    for (n, rank) in [(101, 50), (102, -7), (103, 50)] {
        let row = Made {
            kind: "due".into(),
            id: id(n).to_string(),
            program: "p".into(),
            version: 1,
            rank,
            body: vec![0, n, 255],
        };
        records.put_made(row).await.expect("put");
    }
    assert_eq!(stale().await, 0);
    let all = records.made_from("due", (i64::MIN, ""), 2).await.expect("first");
    assert_eq!(all.iter().map(|m| m.rank).collect::<Vec<_>>(), [-7, 50]);
    let last = all.last().expect("two");
    let rest = records.made_from("due", (last.rank, &last.id), 9).await.expect("rest");
    assert_eq!(rest.iter().map(|m| m.body.clone()).collect::<Vec<_>>(), [vec![0, 103, 255]]);
    let told = What::Told { table: "car".into(), row: serde_json::json!({}), job: None, file: None };
    records.add(new(104, car(101), Some(1), told), &judge(&rules)).await.expect("told");
    assert_eq!(stale().await, 1, "a fact more");
    records.forget_made("p", "due", 0).await.expect("forget");
    assert!(records.made("due", id(102).as_str()).await.expect("made").is_none(), "ranked below");
    assert!(records.made("due", id(103).as_str()).await.expect("made").is_some());
    records.forget_made("q", "other", 0).await.expect("forget");
    assert_eq!(stale().await, 3, "made by another program");
}

/// With `SOOTWRIGHT_POSTGRES` set to the address of an empty database.
#[cfg(feature = "postgres")]
#[tokio::test]
async fn property_a_server_keeps_what_a_file_keeps() {
    let Ok(address) = std::env::var("SOOTWRIGHT_POSTGRES") else {
        eprintln!("skipped: SOOTWRIGHT_POSTGRES names no database");
        return;
    };
    let folder = tempfile::tempdir().expect("folder");
    let rules = Rules::built_in().expect("rules");
    let server = store::Postgres::open(&address, &folder.path().join("f")).await.expect("open");
    small_job(&server, &rules).await;
    assert_eq!(server.verify().await.expect("verify"), (3, 1));
    let row =
        Plain { kind: "keeper".into(), id: id(100).to_string(), word: "TR614M".into(), body: "{}".into() };
    server.put(row, false, Some(&id(200)), 7).await.expect("put");
    assert_eq!(server.find("keeper", "614", 9).await.expect("find").len(), 1);
    assert_eq!(server.find("keeper", "_", 9).await.expect("find").len(), 0);
    let ids = [id(100).to_string(), id(101).to_string()];
    assert_eq!(server.plains("keeper", &ids).await.expect("plains").len(), 1);
    let text = json_lines(&server).await;
    let file = Sqlite::open(&folder.path().join("s")).await.expect("file");
    export::import(&file, &text).await.expect("import");
    assert_eq!(json_lines(&file).await, text);
    export::import(&server, &text).await.expect("import again");
    assert_eq!(json_lines(&server).await, text);
    // Two at once on one version: one is told.
    let job = Subject::Job(id(50));
    let judge = judge(&rules);
    server.add(new(51, job.clone(), Some(0), opened()), &judge).await.expect("opened");
    let locked = |n| new(n, job.clone(), Some(1), What::Locked { why: "leak".into() });
    let (a, b) = tokio::join!(server.add(locked(52), &judge), server.add(locked(53), &judge));
    assert!(a.is_ok() != b.is_ok(), "{a:?} {b:?}");
    assert!(matches!(a.and(b), Err(Error::Conflict { expected: 1, found: 2 })));
    made(&server).await;
    server.verify().await.expect("whole");
    server.close().await;
}
