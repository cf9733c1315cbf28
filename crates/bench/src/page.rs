//! The frame of every page: margin with the rule of the job, sheet, title block.

use crate::args;
use crate::assets;
use crate::marks::{Mark, graduation};
use crate::state::{JobView, Keeper, People};
use crate::who::Who;
use crate::words::Lang;
use axum::response::Html;
use maud::{DOCTYPE, Markup, html};
use shop::Id;

/// Where in the house a page is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Place {
    Bench,
    Car,
    Due,
    Shelf,
    Find,
    Duty,
}

/// Where in a job a page is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Station {
    Readings,
    Recording,
    Faults,
    Ways,
    Steps,
    Proof,
    HandOver,
}

const STATIONS: [Station; 7] = [
    Station::Readings,
    Station::Recording,
    Station::Faults,
    Station::Ways,
    Station::Steps,
    Station::Proof,
    Station::HandOver,
];

impl Station {
    fn slug(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Recording => "recording",
            Self::Faults => "faults",
            Self::Ways => "ways",
            Self::Steps => "steps",
            Self::Proof => "proof",
            Self::HandOver => "hand-over",
        }
    }

    /// Whether its work is done in a job, and in a word what came of it.
    fn done(self, v: &JobView, lang: Lang) -> Option<String> {
        let told = |table: &str| {
            v.car.told.iter().filter(|t| t.table == table && t.job.as_ref() == Some(&v.id)).count()
        };
        let count = |id: &str, n: usize| {
            (n > 0).then(|| lang.tw(id, &args! { "n" => crate::words::num(n as f64, 0) }))
        };
        match self {
            Self::Readings => count("rule-readings", told("reading") + told("reservoir_weighed")),
            Self::Recording => count("rule-recordings", told("recording")),
            Self::Faults => count("rule-answers", told("observation")),
            Self::Ways => {
                v.job.answer.as_ref().map(|a| lang.t(if a.4 { "rule-agreed" } else { "rule-declined" }))
            }
            Self::Steps => (!v.job.steps.is_empty() && v.job.steps.iter().all(|s| s.settled()))
                .then(|| lang.t("rule-all-steps")),
            Self::Proof => v.job.signed.as_ref().map(|_| lang.t("rule-signed")),
            Self::HandOver => v.job.handed_over.as_ref().map(|_| lang.t("rule-handed-over")),
        }
    }
}

/// A page about to be drawn.
pub struct Page<'a> {
    /// Who asks.
    pub who: &'a Who,
    /// Everybody.
    pub people: &'a People,
    /// Title of the window.
    pub title: String,
    /// Where in the house.
    pub place: Place,
    /// Pages for hands: larger text.
    pub hands: bool,
    /// The job it is about, and where in it.
    pub job: Option<(&'a JobView, Option<Station>)>,
    /// The car it is about, when it is not about a job.
    pub car: Option<(&'a Id, &'a Keeper, Option<f64>)>,
    /// Own modules it needs.
    pub scripts: &'a [&'a str],
}

impl<'a> Page<'a> {
    /// A page for a desk that is about no job and no car.
    #[must_use]
    pub fn new(who: &'a Who, people: &'a People, title: String, place: Place) -> Self {
        Self { who, people, title, place, hands: false, job: None, car: None, scripts: &[] }
    }

    /// For hands: larger text.
    #[must_use]
    pub fn hands(self) -> Self {
        Self { hands: true, ..self }
    }

    /// About a job, and where in it.
    #[must_use]
    pub fn job(self, job: &'a JobView, at: Option<Station>) -> Self {
        Self { job: Some((job, at)), ..self }
    }

    /// About a car.
    #[must_use]
    pub fn car(self, id: &'a Id, keeper: &'a Keeper, odometer_km: Option<f64>) -> Self {
        Self { car: Some((id, keeper, odometer_km)), ..self }
    }

    /// With modules of our own.
    #[must_use]
    pub fn scripts(self, scripts: &'a [&'a str]) -> Self {
        Self { scripts, ..self }
    }

    /// The page with its sheet.
    pub fn draw(&self, sheet: &Markup) -> Html<String> {
        let lang = self.who.lang;
        let body = html! {
            (DOCTYPE)
            html lang=(lang.tag()) data-theme=[self.who.theme] {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width,initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) " · sootwright" }
                    link rel="stylesheet" href=(assets::url("bench.css"));
                    link rel="icon" href=(assets::url("mark.svg")) type="image/svg+xml";
                    @for s in self.scripts { script type="module" src=(assets::url(s)) {} }
                    script type="module" src=(assets::url("keep.js")) {}
                    @if !self.hands { script type="module" src=(assets::url("lists.js")) {} }
                }
                body.hands[self.hands] data-kept=(lang.t("kept-here")) data-sent=(lang.t("kept-sent")) data-filter=(lang.t("list-filter")) data-csv=(lang.t("list-csv")) {
                    a.skip href="#sheet" { (lang.t("to-the-sheet")) }
                    (self.top())
                    div.desk {
                        (self.margin())
                        main.sheet #sheet { (sheet) }
                    }
                    (self.block())
                }
            }
        };
        Html(body.into_string())
    }

    fn keeper(&self) -> Option<(&Id, &Keeper, Option<f64>)> {
        match (self.job, self.car) {
            (Some((v, _)), _) => Some((&v.car.id, &v.car.keeper, v.car.odometer_km())),
            (None, car) => car,
        }
    }

    fn car_words(&self, k: &Keeper, km: Option<f64>) -> String {
        let lang = self.who.lang;
        match km {
            Some(km) if k.words.is_empty() => format!("{} km", lang.n(km, 0)),
            Some(km) => format!("{}, {} km", k.words, lang.n(km, 0)),
            None => k.words.clone(),
        }
    }

    fn top(&self) -> Markup {
        let lang = self.who.lang;
        html! {
            div.top {
                @if let Some((id, k, km)) = self.keeper() {
                    a.plate href={ "/car/" (id) } { (plate(k, lang)) }
                    span.hide { (self.car_words(k, km)) }
                } @else {
                    span.house { "sootwright" }
                }
                span.sheetno {
                    @match self.job {
                        Some((_, Some(s))) => {
                            (lang.t(&format!("station-{}", s.slug())))
                            ", "
                            (lang.tw("of-places", &args! {
                                "n" => crate::words::num(STATIONS.iter().position(|o| *o == s).unwrap_or(0) as f64 + 1.0, 0),
                                "of" => crate::words::num(STATIONS.len() as f64, 0),
                            }))
                        }
                        _ => (self.title),
                    }
                }
            }
        }
    }

    fn margin(&self) -> Markup {
        let lang = self.who.lang;
        html! {
            nav.margin aria-label=(lang.t("this-job")) {
                @if let Some((id, k, km)) = self.keeper() {
                    a.plate href={ "/car/" (id) } { (plate(k, lang)) }
                    p.who { (self.car_words(k, km)) }
                }
                @if let Some((v, at)) = self.job {
                    ol.thread {
                        @for s in STATIONS {
                            @let done = s.done(v, lang);
                            @let here = at == Some(s);
                            li aria-current=[here.then_some("page")] {
                                (graduation(if here { Mark::Now } else if done.is_some() { Mark::Done } else { Mark::ToCome }))
                                a href={ "/job/" (v.id) "/" (s.slug()) } {
                                    b { (lang.t(&format!("station-{}", s.slug()))) }
                                    @if let Some(word) = done { small { (word) } }
                                    @else if here { small { (lang.t("here")) } }
                                }
                            }
                        }
                    }
                } @else if self.keeper().is_none() {
                    p.house { "sootwright" }
                    ul.rooms {
                        @for (href, id) in [
                            ("/take-in", "room-take-in"), ("/jobs", "room-jobs"), ("/sources", "room-sources"),
                            ("/people", "room-people"), ("/settings", "room-settings"), ("/export", "room-export"),
                            ("/api", "room-api"),
                        ] {
                            li { a href=(href) { (lang.t(id)) } }
                        }
                    }
                }
            }
        }
    }

    fn block(&self) -> Markup {
        let lang = self.who.lang;
        let car = self.keeper().map(|(id, ..)| format!("/car/{id}"));
        let current = |p: Place| (self.place == p).then_some("page");
        let duty = self.who.duty.as_ref().and_then(|d| self.people.get(d));
        html! {
            nav.block aria-label=(lang.t("the-house")) {
                span.name { "sootwright" }
                a href="/" aria-current=[current(Place::Bench)] { small { (lang.t("block-bench-sub")) } b { (lang.t("block-bench")) } }
                @match car {
                    Some(href) => a href=(href) aria-current=[current(Place::Car)] { small { (lang.t("block-car-sub")) } b { (lang.t("block-car")) } },
                    None => a href="/take-in" aria-current=[current(Place::Car)] { small { (lang.t("block-take-in-sub")) } b { (lang.t("block-take-in")) } },
                }
                a.x href="/due" aria-current=[current(Place::Due)] { small { (lang.t("block-due-sub")) } b { (lang.t("block-due")) } }
                a.x href="/shelf" aria-current=[current(Place::Shelf)] { small { (lang.t("block-shelf-sub")) } b { (lang.t("block-shelf")) } }
                a href="/find" aria-current=[current(Place::Find)] { small { (lang.t("block-find-sub")) } b { (lang.t("block-find")) } }
                a.last href={ "/duty?back=" (crate::web::encoded(&self.who.here)) } aria-current=[current(Place::Duty)] {
                    small { (lang.t("block-signs")) }
                    b { @match duty { Some(p) => (p.name), None => (lang.t("block-nobody")) } }
                }
                span.x.line #line { small { (lang.t("block-line")) } b { (lang.t("block-all-sent")) } }
            }
        }
    }
}

/// A plate as it is shown.
#[must_use]
pub fn plate(k: &Keeper, lang: Lang) -> String {
    if k.plate.is_empty() { lang.t("no-plate") } else { k.plate.clone() }
}

/// A name; a word when the person was erased.
#[must_use]
pub fn name(people: &People, id: &Id, lang: Lang) -> String {
    people.get(id).map_or_else(|| lang.t("erased-person"), |p| p.name.clone())
}

/// The hidden fields of a form that adds a fact: what was known, an identifier that makes a second send harmless,
/// and where to go on.
#[must_use]
pub fn hidden(version: u64, kind: &str, back: &str) -> Markup {
    html! {
        input type="hidden" name="id" value=(crate::state::Bench::new_id());
        input type="hidden" name="version" value=(version);
        input type="hidden" name="kind" value=(kind);
        input type="hidden" name="back" value=(back);
    }
}

/// A field for a number: words, then figure and unit in one frame.
#[must_use]
pub fn field(name: &str, label: &str, note: &str, unit: &str, value: &str) -> Markup {
    html! {
        div.field {
            label for=(name) { b { (label) } @if !note.is_empty() { small { (note) } } }
            span.entry {
                input #(name) name=(name) inputmode="decimal" autocomplete="off" value=(value) aria-describedby={ (name) "-unit" };
                span.unit #{ (name) "-unit" } { (unit) }
            }
        }
    }
}

/// A field for words.
#[must_use]
pub fn words_field(name: &str, label: &str, note: &str, value: &str) -> Markup {
    html! {
        div.field.col {
            label for=(name) { b { (label) } @if !note.is_empty() { small { (note) } } }
            input.words-in #(name) name=(name) autocomplete="off" value=(value);
        }
    }
}
