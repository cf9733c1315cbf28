//! Ways and prices: what each way costs, takes and does for this car.

use super::{Answer, path_id};
use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::page::{Page, Place, Station, hidden};
use crate::state::{Bench, JobView};
use crate::who::Who;
use crate::words::{Lang, num};
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use facts::FaultId;
use maud::{Markup, html};
use shop::{Choice, choices, plan, quote};

/// The sheet.
pub async fn page(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    Query(q): Query<Form>,
) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let settings = bench.prices().await?;
    let a = bench.answer(&v.car).await?;
    let sets: Vec<(Vec<FaultId>, f64)> =
        a.fault_sets.iter().map(|s| (s.faults.clone(), s.probability)).collect();
    let mut ways =
        choices(&bench.rules().procedures, &sets, &settings).map_err(|e| Fail::Machine(e.to_string()))?;
    for w in &mut ways {
        w.label = lang.k(&w.label).to_owned();
    }
    // The likeliest fault set, mended: a way of its own where the others may miss it.
    let leading = sets.iter().max_by(|a, b| a.1.total_cmp(&b.1)).cloned().unwrap_or_default();
    if !leading.0.is_empty() {
        let parts: Vec<_> =
            leading.0.iter().map(|f| bench.rules().procedures.mending(*f, bench.knowledge())).collect();
        let made = plan(&parts).map_err(|e| Fail::Machine(e.to_string()))?;
        let label = leading
            .0
            .iter()
            .map(|f| lang.k(&bench.knowledge().fault(*f).repair.action).to_owned())
            .collect::<Vec<_>>()
            .join(" + ");
        ways.insert(
            0,
            Choice {
                id: "mend".into(),
                label,
                quote: quote(&made, &settings),
                plan: made,
                cures: leading.1,
                comes_back: 1.0 - leading.1,
                will_not_cure: false,
            },
        );
    }
    // The likeliest to mend first; of ways that mend about as well, the cheaper one.
    let class = |w: &Choice| (w.cures * 20.0).round() as i64;
    ways.sort_by(|x, y| class(y).cmp(&class(x)).then(x.quote.gross.total_cmp(&y.quote.gross)));
    let asked = match q.text("all") {
        "" => 3,
        _ => ways.len(),
    };
    let priced = settings.labour_per_hour > 0.0;
    let best = ways.first().filter(|w| w.cures >= 0.5).map(|w| w.id.clone());
    let more = ways.len() > asked;
    let sheet = html! {
        @if let Some(answer) = &v.job.answer {
            h1 { (lang.t(if answer.4 { "ways-agreed" } else { "ways-declined" })) " " b.nb { (lang.n(answer.2, 2)) " " (answer.3) } }
            p.sub { (crate::page::name(&people, &answer.0.by, lang)) ", " (lang.when(answer.0.at_ms, now)) }
        } @else {
            h1 { (lang.t(if best.is_some() { "ways-head" } else { "ways-head-unsure" })) }
        }
        p.sub { (lang.t("ways-note")) }
        @if !priced { p.note.t16 { (lang.t("ways-no-prices")) " " a href="/settings" { (lang.t("room-settings")) } } }
        div.wayset.t16 {
            @for w in ways.iter().take(asked) { (way(&v, w, best.as_deref() == Some(&w.id), lang)) }
        }
        @if more { div.t16 { a.btn href={ "/job/" (v.id) "/ways?all=1" } { (lang.t("ways-all")) } } }
        div.sec {
            p.sub { (lang.tw("quote-valid", &args! { "days" => num(f64::from(settings.valid_days), 0) })) " " (lang.t("quote-extra")) }
            p.sub { (lang.t("quote-law")) }
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-ways"), Place::Car)
        .job(&v, Some(Station::Ways))
        .draw(&sheet)
        .into_response())
}

fn way(v: &JobView, w: &Choice, best: bool, lang: Lang) -> Markup {
    html! {
        section.way.adv[best] {
            h2 { (w.label) }
            p.sum { (lang.n(w.quote.gross, 2)) small { " " (w.quote.currency) } }
            p.sub { (lang.t("with-tax")) }
            dl.facts {
                dt { (lang.t("way-hands")) } dd { (lang.n(w.plan.hands_on_min, 0)) " min" }
                dt { (lang.t("way-back")) } dd { (lang.n(w.plan.through_min / 60.0, 1)) " h" }
                dt { (lang.t("way-cures")) } dd { (lang.tw("of-100", &args! { "p" => num(100.0 * w.cures, 0) })) }
                dt { (lang.t("way-returns")) } dd { (lang.tw("of-100", &args! { "p" => num(100.0 * w.comes_back, 0) })) }
            }
            @if w.will_not_cure { p.note { b { (lang.t("way-no-cure")) } } }
            details {
                summary { (lang.t("way-lines")) }
                table { tbody {
                    @for l in &w.quote.lines {
                        tr { td { @if l.id.is_empty() { (lang.t("labour")) } @else { (lang.k(&l.id.replace('_', " "))) } } td.n { (lang.n(l.quantity, 1)) } td.n { @if l.each.is_some() { (lang.n(l.net, 2)) } @else { (lang.t("no-price")) } } }
                    }
                    tr { td { (lang.t("tax")) } td {} td.n { (lang.n(w.quote.tax, 2)) } }
                } }
            }
            @if v.job.answer.is_none() && v.job.signed.is_none() {
                form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "answered", &format!("/job/{}/steps", v.id)))
                    input type="hidden" name="way" value=(w.id);
                    input type="hidden" name="gross" value=(w.quote.gross);
                    input type="hidden" name="currency" value=(w.quote.currency);
                    div.pair {
                        button.btn.go[best] name="accepted" value="yes" { (lang.t("way-agree")) }
                        button.btn name="accepted" value="no" { (lang.t("way-decline")) }
                    }
                }
            }
        }
    }
}
