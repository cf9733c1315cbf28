//! All data out, and in again; the check of the chain.

use super::{Answer, signer};
use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::marks::Mark;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::body::Body;
use axum::extract::{Multipart, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::html;
use store::export::Line;
use store::{Error, Later};
use tokio_stream::wrappers::ReceiverStream;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    sheet(&bench, &who, !q.text("check").is_empty(), None).await
}

async fn sheet(bench: &Bench, who: &Who, check: bool, taken: Option<usize>) -> Answer {
    let people = bench.people().await?;
    let lang = who.lang;
    let verified = if check { Some(bench.records().verify().await) } else { None };
    let sheet = html! {
        @match &verified {
            None => {
                h1 { (lang.t("export-head")) }
                p.sub { (lang.t("verify-note")) }
                div.t16 { a.btn href="/export?check=1" { (lang.t("verify-do")) } }
            }
            Some(Ok((facts, seals))) => {
                h1 { (lang.tw("verify-whole", &args! { "facts" => num(*facts as f64, 0), "seals" => num(*seals as f64, 0) })) }
                p.state { (Mark::Done.drawn()) (lang.t("verify-whole-word")) }
            }
            Some(Err(e)) => {
                h1 { (lang.t("verify-broken")) }
                p.state.wax { (Mark::Stop.drawn()) span lang="en" { (e) } }
            }
        }
        @if let Some(n) = taken { p.note.t16 role="status" { (lang.tw("import-done", &args! { "n" => num(n as f64, 0) })) } }
        div.sec {
            @if verified.is_some() { h2 { (lang.t("export-head")) } }
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
    Ok(Page::new(who, &people, lang.t("room-export"), Place::Find).draw(&sheet).into_response())
}

/// All records as JSON lines.
pub async fn json_lines(State(bench): State<Bench>) -> Answer {
    Ok(stream(bench, "application/jsonl; charset=utf-8", "", store::export::json))
}

/// All facts as CSV.
pub async fn csv(State(bench): State<Bench>) -> Answer {
    Ok(stream(bench, "text/csv; charset=utf-8", store::export::CSV_HEAD, store::export::csv))
}

/// Bytes that are sent together.
const PIECE: usize = 64 * 1024;

/// Sends the records as they are read: a whole workshop is more than memory should hold. An error in the middle breaks
/// the transfer off, so that nobody takes a part for the whole.
fn stream(
    bench: Bench,
    kind: &'static str,
    head: &str,
    text: fn(&Line) -> Result<String, Error>,
) -> Response {
    let (send, pieces) = tokio::sync::mpsc::channel::<Result<String, Error>>(4);
    let mut piece = head.to_owned();
    tokio::spawn(async move {
        let mut out = |line: Line| -> Later<'static, ()> {
            match text(&line) {
                Ok(more) => piece.push_str(&more),
                Err(e) => return Box::pin(async { Err(e) }),
            }
            if piece.len() < PIECE {
                return Box::pin(async { Ok(()) });
            }
            let (full, send) = (std::mem::take(&mut piece), send.clone());
            let gone = |_| Error::Unreadable("nobody takes the export any more".into());
            Box::pin(async move { send.send(Ok(full)).await.map_err(gone) })
        };
        let end = store::export::lines(bench.records(), &mut out).await;
        // Where nobody listens any more, nobody misses the end.
        let _ = send.send(end.map(|()| piece)).await;
    });
    let body = Body::from_stream(ReceiverStream::new(pieces));
    ([(header::CONTENT_TYPE, kind)], body).into_response()
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
            bench.taken_in().await;
            return sheet(&bench, &who, true, Some(n)).await;
        }
    }
    Err(Fail::Upload("upload-import"))
}
