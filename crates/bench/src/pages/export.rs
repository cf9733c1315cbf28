//! All data out, and in again; the check of the chain.

use super::{Answer, signer};
use crate::args;
use crate::fail::Fail;
use crate::marks::Mark;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::{Multipart, State};
use axum::http::header;
use axum::response::IntoResponse;
use maud::html;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    sheet(&bench, &who, None).await
}

async fn sheet(bench: &Bench, who: &Who, taken: Option<usize>) -> Answer {
    let people = bench.people().await?;
    let lang = who.lang;
    let verified = bench.records().verify().await;
    let sheet = html! {
        @match &verified {
            Ok((facts, seals)) => {
                h1 { (lang.tw("verify-whole", &args! { "facts" => num(*facts as f64, 0), "seals" => num(*seals as f64, 0) })) }
                p.state { (Mark::Done.drawn()) (lang.t("verify-whole-word")) }
            }
            Err(e) => {
                h1 { (lang.t("verify-broken")) }
                p.state.wax { (Mark::Stop.drawn()) span lang="en" { (e) } }
            }
        }
        @if let Some(n) = taken { p.note.t16 role="status" { (lang.tw("import-done", &args! { "n" => num(n as f64, 0) })) } }
        div.sec {
            h2 { (lang.t("export-head")) }
            p.sub { (lang.t("export-note")) }
            div.pair.t16 {
                a.btn.go href="/export/records.jsonl" download { (lang.t("export-jsonl")) }
                a.btn href="/export/facts.csv" download { (lang.t("export-csv")) }
            }
        }
        form.sec method="post" action="/import" enctype="multipart/form-data" {
            h2 { (lang.t("import-head")) }
            p.sub { (lang.t("import-note")) }
            label.btn.l.filepick.t16 { span { (lang.t("import-choose")) } input type="file" name="file" accept=".jsonl" required; }
            div.stack.t16 { button.btn { (lang.t("import-do")) } }
        }
    };
    let page = Page {
        who,
        people: &people,
        title: lang.t("room-export"),
        place: Place::Find,
        hands: false,
        job: None,
        car: None,
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}

/// All records as JSON lines.
pub async fn json_lines(State(bench): State<Bench>) -> Answer {
    let text = store::export::json_lines(bench.records()).await?;
    Ok(([(header::CONTENT_TYPE, "application/jsonl; charset=utf-8")], text).into_response())
}

/// All facts as CSV.
pub async fn csv(State(bench): State<Bench>) -> Answer {
    let text = store::export::csv(bench.records()).await?;
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], text).into_response())
}

/// Takes an export in.
pub async fn import(State(bench): State<Bench>, who: Who, mut body: Multipart) -> Answer {
    if !bench.people().await?.is_empty() {
        signer(&who)?;
    }
    let bad = |e: axum::extract::multipart::MultipartError| Fail::Request(e.body_text());
    while let Some(part) = body.next_field().await.map_err(bad)? {
        if part.name() == Some("file") {
            let text = part.text().await.map_err(bad)?;
            let n = store::export::import(bench.records(), &text).await?;
            return sheet(&bench, &who, Some(n)).await;
        }
    }
    Err(Fail::Upload("upload-import"))
}
