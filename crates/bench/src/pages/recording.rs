//! Recordings: drop a file, see what it holds and what it did to the answer.

use super::{Answer, add, on_to, path_id};
use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::marks::Mark;
use crate::page::{Page, Place, Station, hidden};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::{Multipart, Path, State};
use axum::response::IntoResponse;
use maud::html;
use serde_json::json;
use shop::{Subject, What};

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let lang = who.lang;
    let a = bench.answer(&v.car).await?;
    let mut recordings = Vec::new();
    for hash in v.car.files.iter().flatten() {
        recordings.push(bench.recording(hash)?);
    }
    let sheet = html! {
        (super::readings::answer(&bench, &[], &a, lang))
        @if v.job.signed.is_none() {
            form.sec method="post" action={ "/job/" (v.id) "/recording/file" } enctype="multipart/form-data" {
                h2 { (lang.t("recording-add")) }
                p.sub { (lang.t("recording-note")) }
                (hidden(v.car.version, "told", &format!("/job/{}/recording", v.id)))
                label.btn.l.filepick.t16 { span { (lang.t("recording-choose")) } input type="file" name="file" required; }
                div.pair.t16 {
                    button.btn.go name="role" value="before" { (lang.t("recording-before")) }
                    button.btn name="role" value="after" { (lang.t("recording-after")) }
                }
            }
        }
        (bench.house().pressure(lang, &a))
        @for (i, r) in recordings.iter().enumerate() {
            div.sec {
                h2 { (lang.tw("recording-n", &args! { "n" => num(i as f64 + 1.0, 0) })) }
                @match r {
                    None => p.sub { (lang.t("recording-gone")) },
                    Some(r) => {
                        p.sub { (lang.tw("recording-holds", &args! { "minutes" => num(r.duration_s / 60.0, 1), "signals" => num(r.signals.len() as f64, 0) })) " " span lang="en" { (r.format) } "." }
                        @let windows: Vec<_> = a.windows.iter().filter(|w| w.recording == i).collect();
                        @if !windows.is_empty() {
                            table {
                                thead { tr { th { (lang.t("window-from")) } th { (lang.t("window-use")) } } }
                                tbody { @for w in windows { tr { td.nb { (lang.n(w.start_s / 60.0, 1)) " – " (lang.n(w.end_s / 60.0, 1)) " min" } td { (lang.t(&format!("window-{}", w.state.replace('_', "-")))) } } } }
                            }
                        }
                        details.t16 {
                            summary { (lang.t("recording-signals")) }
                            table {
                                thead { tr { th { (lang.t("signal-name")) } th.n { (lang.t("signal-samples")) } th.n { (lang.t("signal-range")) } } }
                                tbody { @for s in &r.signals {
                                    @let low = s.value.iter().copied().fold(f64::INFINITY, f64::min);
                                    @let high = s.value.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                                    tr { td { (lang.k(&s.quantity.name().replace('_', " "))) } td.n { (lang.n(s.value.len() as f64, 0)) } td.n { (lang.n(low, 1)) " – " (lang.n(high, 1)) " " (s.quantity.unit()) } }
                                } }
                            }
                        }
                        @if !r.problems.is_empty() {
                            ul.need.t16 lang="en" { @for p in r.problems.iter().take(12) { li { (Mark::Wanted.drawn()) p { (p.what) "; " (p.what_to_do) } } } }
                        }
                    }
                }
            }
        }
        div.stack.t24 { a.btn href={ "/job/" (v.id) "/faults" } { (lang.t("to-faults")) } }
    };
    Ok(Page::new(&who, &people, lang.t("station-recording"), Place::Car)
        .job(&v, Some(Station::Recording))
        .draw(&sheet)
        .into_response())
}

/// Takes a recording in. A file in which nothing can be read is refused.
pub async fn upload(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    mut body: Multipart,
) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    super::job::still_open(&v)?;
    let mut f = Form::default();
    let mut file = None;
    let bad = |e: axum::extract::multipart::MultipartError| Fail::Request(e.body_text());
    while let Some(part) = body.next_field().await.map_err(bad)? {
        let name = part.name().unwrap_or_default().to_owned();
        if name == "file" {
            let called = part.file_name().unwrap_or("recording").to_owned();
            file = Some((called, part.bytes().await.map_err(bad)?));
        } else {
            f.0.insert(name, part.text().await.map_err(bad)?);
        }
    }
    let (called, bytes) = file.ok_or(Fail::Upload("upload-recording"))?;
    let read = {
        let bytes = bytes.clone();
        tokio::task::spawn_blocking(move || {
            recording::read_bytes("recording", &bytes, &recording::Options::default())
        })
        .await
        .map_err(|e| Fail::Machine(e.to_string()))?
    };
    if read.signals.is_empty() {
        return Err(Fail::Upload("upload-recording"));
    }
    let hash = bench.records().files().keep(&bytes)?;
    // Only the last part of a name, and only what a file name may hold.
    let plain: String = called
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or("recording")
        .chars()
        .filter(|c| c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | ' '))
        .take(80)
        .collect();
    let role = if f.text("role") == "after" { "after" } else { "before" };
    let what = What::Told {
        table: "recording".into(),
        row: json!({ "file": if plain.is_empty() { "recording".to_owned() } else { plain }, "role": role }),
        job: Some(v.id.clone()),
        file: Some(hash),
    };
    add(&bench, &who, &f, Subject::Car(v.car.id.clone()), what).await?;
    Ok(on_to(f.text("back")))
}
