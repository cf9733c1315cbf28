//! `sootwright regeneration`: may a service regeneration be started, and what to find out if that is not shown.

use crate::cli::Regeneration as Order;
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::outlook;
use crate::output::{Input, Problem, Program, Sentence};
use crate::text::{Page, next_reading, of_100};
use crate::words::{number, say, say_with, words};
use crate::{args, assess, now, print, print_json, report};
use infer::Evidence;
use infer::assessment::{Assessment, Text};
use infer::safety::{State, Verdict};
use infer::scenario::{Course, Event, Scenario};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The value of `schema` that this version writes.
pub const SCHEMA: &str = "sootwright.regeneration/1";

/// The answer on one car's regeneration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Regeneration")]
pub struct Answer {
    /// Always `sootwright.regeneration/1`.
    pub schema: String,
    /// What wrote this.
    pub program: Program,
    /// When it was written, UTC, RFC 3339.
    pub made_at: String,
    /// What it was made from.
    pub inputs: Vec<Input>,
    /// Title of the case, where it has one.
    pub title: Option<String>,
    /// Verdicts and conditions.
    pub regeneration: outlook::Regeneration,
    /// The verdicts in sentences.
    pub plain: Vec<Sentence>,
    /// What to do to find out, the most telling first.
    pub find_out: Vec<String>,
    /// Readings that narrow the open questions, the most telling per minute first.
    pub readings: Vec<outlook::NextReading>,
    /// A simulated burn; it may show danger, never safety. `null` where the physics refused.
    pub simulated: Option<Simulated>,
    /// Cautions.
    pub cautions: Vec<Sentence>,
    /// What could not be read or used.
    pub problems: Vec<Problem>,
}

/// A simulated service regeneration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Simulated {
    /// Gas temperature it aims at, degC.
    pub feed_degc: f64,
    /// Exhaust flow, g/s.
    pub flow_g_per_s: f64,
    /// Whether the soot was taken to carry additive.
    pub doped: bool,
    /// Where substrates take damage, degC, from.
    pub damage_from_degc: f64,
    /// To.
    pub damage_to_degc: f64,
    /// Median soot held and dropped to idle, upper soot (95 %) held, dropped to idle and with the throttle lifted.
    pub courses: Vec<SimulatedCourse>,
}

/// One course of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SimulatedCourse {
    /// Soot at the start, g/L.
    pub soot_g_per_l: f64,
    /// Whether this is the upper soot load (95 %) and not the median.
    pub upper: bool,
    /// `held`, `drop_to_idle` or `lift` of the throttle, at the worst moment.
    pub event: String,
    /// When, s.
    pub event_s: Option<f64>,
    /// Hottest anywhere, degC.
    pub peak_degc: f64,
    /// Where, share of the length from the front.
    pub peak_position: f64,
    /// Time in which 90 % was burnt, s.
    pub time_to_90_s: Option<f64>,
    /// Share burnt by the end.
    pub burnt_share: f64,
    /// Time s, hottest place degC, leaving gas degC.
    pub trace: Vec<[f64; 3]>,
}

impl Simulated {
    fn of(s: &Scenario) -> Self {
        Self {
            feed_degc: s.feed_degc,
            flow_g_per_s: s.flow_g_per_s,
            doped: s.doped,
            damage_from_degc: s.damage_degc.0,
            damage_to_degc: s.damage_degc.1,
            courses: s
                .courses
                .iter()
                .map(|c| SimulatedCourse {
                    soot_g_per_l: c.soot_g_per_l,
                    upper: c.upper,
                    event: c.event.name().to_owned(),
                    event_s: c.event_s,
                    peak_degc: c.peak_degc,
                    peak_position: c.peak_position,
                    time_to_90_s: c.time_to_90_s,
                    burnt_share: c.burnt_share,
                    trace: c.trace.iter().map(|m| [m.time_s, m.hottest_degc, m.leaving_degc]).collect(),
                })
                .collect(),
        }
    }
}

/// Everything that the text, the file and the sheet show.
pub struct Told {
    pub assessment: Assessment,
    pub plain: Vec<Sentence>,
    pub find_out: Vec<String>,
    pub scenario: Option<Scenario>,
    pub cautions: Vec<Sentence>,
    /// Why no burn was simulated.
    pub no_scenario: Option<String>,
}

/// Runs the command.
pub fn run(order: &Order) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let told = tell(&inputs);
    let made_at = now();
    if let Some(path) = &order.report {
        assess::write_page(path, &report::regeneration::page(&told, &inputs, &made_at))?;
    }
    if order.json {
        print_json(&answer(&told, &inputs, &made_at))?;
    } else {
        let mut text = text(&told, &inputs);
        if let Some(path) = &order.report {
            text.push_str(&say_with("note-report", &args! { "path" => path.display().to_string() }));
            text.push('\n');
        }
        print(&text)?;
    }
    Ok(assess::outcome(&told.assessment))
}

fn sentence(id: &str, text: String) -> Sentence {
    Sentence { id: id.to_owned(), text }
}

fn tell(inputs: &Inputs) -> Told {
    let evidence =
        Evidence { case: &inputs.case, recordings: &inputs.recordings, knowledge: inputs.knowledge() };
    let (a, draws) = infer::assess_with_draws(&evidence);
    let (scenario, no_scenario) = match infer::scenario::run(&inputs.case, &draws) {
        Ok(s) => (s, None),
        Err(e) => (None, Some(say_with("regeneration-no-simulation", &args! { "why" => e.to_string() }))),
    };
    let plain = plain(&a);
    let find_out = find_out(&a, inputs);
    let mut cautions = vec!["regeneration-model-caution", "regeneration-afterwards"];
    if a.regeneration.service == Verdict::Unsafe {
        cautions.insert(0, "regeneration-refused");
    }
    let mut cautions: Vec<Sentence> = cautions.into_iter().map(|id| sentence(id, say(id))).collect();
    cautions.extend(
        a.cautions
            .iter()
            .map(|t| Sentence { id: t.id.to_owned(), text: words().text(t, inputs.knowledge()) }),
    );
    Told { assessment: a, plain, find_out, scenario, cautions, no_scenario }
}

fn plain(a: &Assessment) -> Vec<Sentence> {
    let r = &a.regeneration;
    let service = match r.service {
        Verdict::Safe => "regeneration-service-safe",
        Verdict::NotShownSafe => "regeneration-service-not-shown-safe",
        Verdict::Unsafe if r.above >= infer::safety::UNSAFE_FROM => "regeneration-service-unsafe-soot",
        Verdict::Unsafe => "regeneration-service-unsafe-condition",
    };
    let held = match r.held_speed {
        Verdict::Safe => "regeneration-held-safe",
        Verdict::NotShownSafe => "regeneration-held-not-shown-safe",
        Verdict::Unsafe => "regeneration-held-unsafe",
    };
    let values = args! { "load" => number(r.safe_load, 1), "percent" => of_100(r.above) };
    let mut out = vec![sentence(service, say_with(service, &values)), sentence(held, say(held))];
    if !r.resolved {
        out.push(sentence("regeneration-few-samples", say("regeneration-few-samples")));
    }
    out.push(limit(a));
    out
}

fn limit(a: &Assessment) -> Sentence {
    let r = &a.regeneration;
    let low = number(r.limit.0, 0);
    let high = number(r.limit.1, 0);
    if !r.material_told {
        let id = "regeneration-limit-unknown";
        return sentence(id, say_with(id, &args! { "low" => low, "high" => high }));
    }
    let id = "regeneration-limit";
    // Each material has a range of its own.
    let material = match r.limit.0 {
        x if x >= 8.0 => "material-silicon-carbide",
        x if x >= 6.0 => "material-aluminium-titanate",
        _ => "material-cordierite",
    };
    sentence(id, say_with(id, &args! { "material" => say(material), "low" => low, "high" => high }))
}

/// What is broken first, then what nobody looked at, then what narrows the soot.
fn find_out(a: &Assessment, inputs: &Inputs) -> Vec<String> {
    let r = &a.regeneration;
    let said = |t: &Text| words().text(t, inputs.knowledge());
    let mut out = Vec::new();
    for c in r.of(State::Broken) {
        let look: Vec<String> = c.look.iter().map(said).collect();
        let what = format!("{} ({}). {}", said(&c.what), said(&c.because), look.join(" "));
        out.push(say_with("regeneration-mend-first", &args! { "what" => what.trim_end().to_owned() }));
    }
    let soot_open = !r.soot.told || r.above >= infer::safety::SAFE_BELOW;
    if soot_open {
        let soot = |n: &&infer::information::NextReading| {
            n.narrows.iter().any(|x| x.0 == infer::information::Figure::Soot)
        };
        out.extend(a.readings.iter().filter(soot).take(3).map(|n| next_reading(n, inputs.knowledge())));
    }
    for c in r.of(State::Open) {
        let look: Vec<String> = c.look.iter().map(said).collect();
        let what = format!("{}:", said(&c.what));
        out.push(say_with("regeneration-look", &args! { "what" => what, "look" => look.join(" ") }));
    }
    out
}

fn answer(told: &Told, inputs: &Inputs, made_at: &str) -> Answer {
    let a = &told.assessment;
    let mut problems = inputs.problems.clone();
    let more = a.problems.iter().map(|t| words().text(t, inputs.knowledge())).chain(told.no_scenario.clone());
    problems.extend(more.map(|what| Problem { file: None, line: None, byte: None, what }));
    Answer {
        schema: SCHEMA.to_owned(),
        program: Program::this(),
        made_at: made_at.to_owned(),
        inputs: inputs.list.clone(),
        title: inputs.case.title.clone(),
        regeneration: outlook::regeneration(a, inputs),
        plain: told.plain.clone(),
        find_out: told.find_out.clone(),
        readings: outlook::readings(a, inputs),
        simulated: told.scenario.as_ref().map(Simulated::of),
        cautions: told.cautions.clone(),
        problems,
    }
}

/// One simulated course in a sentence.
pub fn course(c: &Course) -> String {
    let minutes = args! { "minutes" => number(c.event_s.unwrap_or(0.0) / 60.0, 1) };
    let how = match c.event {
        Event::Held => say("course-steady"),
        Event::DropToIdle => say_with("course-dropped", &minutes),
        Event::Lift => say_with("course-lifted", &minutes),
    };
    let minutes = match c.time_to_90_s {
        Some(s) => say_with("course-minutes", &args! { "minutes" => number(s / 60.0, 0) }),
        None => say_with("course-percent", &args! { "percent" => number(100.0 * c.burnt_share, 0) }),
    };
    say_with(
        "regeneration-course",
        &args! {
            "soot" => number(c.soot_g_per_l, 1),
            "how" => how,
            "peak" => number(c.peak_degc, 0),
            "place" => number(c.peak_position, 1),
            "minutes" => minutes,
        },
    )
}

/// Rows of the table of conditions: condition, state, because.
pub fn condition_rows(a: &Assessment, inputs: &Inputs) -> Vec<(State, [String; 3])> {
    let said = |t: &Text| words().text(t, inputs.knowledge());
    let mut list: Vec<_> = a.regeneration.conditions.iter().collect();
    list.sort_by_key(|c| match c.state {
        State::Broken => 0,
        State::Open => 1,
        State::Held => 2,
    });
    list.into_iter().map(|c| (c.state, [said(&c.what), state_word(c.state), said(&c.because)])).collect()
}

fn state_word(state: State) -> String {
    say(match state {
        State::Held => "state-held",
        State::Open => "state-open",
        State::Broken => "state-broken",
    })
}

fn text(told: &Told, inputs: &Inputs) -> String {
    let a = &told.assessment;
    let mut page = Page::default();
    if let Some(title) = &inputs.case.title {
        page.line(&say_with("head-case", &args! { "title" => title.clone() }));
    }
    for (i, s) in told.plain.iter().enumerate() {
        match (i, s.id.contains("unsafe")) {
            (_, true) => page.warning(&s.text),
            (0 | 1, _) => page.strong(&s.text),
            _ => page.line(&s.text),
        }
    }
    if !told.find_out.is_empty() {
        page.heading(&say("regeneration-find-out"));
        told.find_out.iter().for_each(|f| page.item(f));
    }
    page.heading(&say("head-conditions"));
    let rows: Vec<Vec<String>> = condition_rows(a, inputs).into_iter().map(|r| r.1.to_vec()).collect();
    page.table(&["col-condition", "col-state", "col-because"].map(say), &rows, &[]);
    page.heading(&say("head-simulated"));
    if let Some(s) = &told.scenario {
        s.courses.iter().for_each(|c| page.item(&course(c)));
    }
    if let Some(why) = &told.no_scenario {
        page.line(why);
    }
    page.heading(&say("head-cautions"));
    told.cautions.iter().for_each(|c| page.item(&c.text));
    page.finish()
}

/// The JSON Schema of [`Answer`].
pub fn schema() -> serde_json::Value {
    crate::output::named_schema(&schemars::schema_for!(Answer), SCHEMA)
}
