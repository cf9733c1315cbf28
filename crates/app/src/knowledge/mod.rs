//! `sootwright knowledge ...`: what is doubtful about the knowledge, a drawing of it, learning from closed jobs.

mod draw;
mod learn;
mod score;

use crate::cli::{KnowledgeCheck, KnowledgeCommand, KnowledgeDraw, KnowledgeOrder};
use crate::failure::{Failure, Outcome};
use crate::inputs::{read_knowledge, read_procedures};
use crate::output::{Input, Program};
use crate::text::Page;
use crate::words::{number, say, say_with, within};
use crate::{args, now, print, print_json};
use facts::knowledge::Mark;
use facts::knowledge::check::{Doubt, doubts, marks};
use facts::{FaultId, Knowledge};
use serde::Serialize;

pub use learn::{counts_schema, jobs_schema};

/// Runs the command.
pub fn run(order: &KnowledgeOrder) -> Result<Outcome, Failure> {
    match &order.command {
        KnowledgeCommand::Check(order) => check(order),
        KnowledgeCommand::Draw(order) => draw(order),
        KnowledgeCommand::Close(order) => learn::close(order),
        KnowledgeCommand::Learn(order) => learn::learn_from(order),
        KnowledgeCommand::Count(order) => learn::count_jobs(order),
        KnowledgeCommand::Join(order) => learn::join(order),
        KnowledgeCommand::Score(order) => score::score(order),
    }
}

/// One doubt for other programs.
#[derive(Serialize)]
struct Doubtful {
    kind: &'static str,
    faults: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    observation: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    set_up: Option<String>,
    /// Overlap of two faults, or the probability in doubt.
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    text: String,
}

#[derive(Serialize)]
struct Checked {
    schema: &'static str,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    faults: usize,
    observations: usize,
    procedures: usize,
    marks: Vec<(Mark, usize)>,
    doubts: Vec<Doubtful>,
}

fn check(order: &KnowledgeCheck) -> Result<Outcome, Failure> {
    let (knowledge, inputs) = read_knowledge(order.knowledge.as_deref())?;
    let procedures = read_procedures(order.knowledge.as_deref())?;
    let mut found: Vec<Doubtful> =
        procedures.missing().iter().map(|f| no_procedure(*f, &knowledge)).collect();
    found.extend(doubts(&knowledge).iter().map(|d| doubtful(d, &knowledge)));
    // The stable sort keeps the order of kinds; of one kind the strongest doubt first.
    found.sort_by(|a, b| {
        (a.kind == b.kind)
            .then(|| b.value.partial_cmp(&a.value))
            .flatten()
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let marks: Vec<(Mark, usize)> = marks(&knowledge).into_iter().collect();
    if order.json {
        print_json(&Checked {
            schema: "sootwright.knowledge-check/1",
            program: Program::this(),
            made_at: now(),
            inputs,
            faults: knowledge.faults().len(),
            observations: knowledge.observations().len(),
            procedures: procedures.procedure.len(),
            marks,
            doubts: found,
        })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    page.strong(&say_with(
        "out-knowledge-read",
        &args! {
            "faults" => knowledge.faults().len(), "observations" => knowledge.observations().len(),
            "procedures" => procedures.procedure.len(),
        },
    ));
    for (mark, count) in marks {
        let mark = match mark {
            Mark::ExpertGuess => "guess",
            Mark::CommonPractice => "practice",
            Mark::Seen => "seen",
            Mark::Counted => "counted",
        };
        page.item(&say_with("out-knowledge-mark", &args! { "mark" => mark, "count" => count }));
    }
    page.heading(&say("head-doubts"));
    if found.is_empty() {
        page.line(&say("out-no-doubts"));
    }
    for d in &found {
        page.item(&d.text);
    }
    print(&page.finish())?;
    Ok(Outcome::Answered)
}

/// A fault whose plan is one line, since no procedure mends it.
fn no_procedure(fault: FaultId, k: &Knowledge) -> Doubtful {
    Doubtful {
        kind: "fault_without_procedure",
        faults: vec![fault.id().to_owned()],
        observation: None,
        set_up: None,
        value: None,
        text: say_with("out-doubt-no-procedure", &args! { "fault" => within(&k.fault(fault).label) }),
    }
}

fn doubtful(doubt: &Doubt, k: &Knowledge) -> Doubtful {
    let label = |f: FaultId| within(&k.fault(f).label);
    let observed = |id: &str| k.observation(id).map_or_else(|| id.to_owned(), |o| within(&o.label));
    let mut out = Doubtful {
        kind: "",
        faults: Vec::new(),
        observation: None,
        set_up: None,
        value: None,
        text: String::new(),
    };
    match doubt {
        Doubt::SetUpUnused { set_up } => {
            out.kind = "set_up_unused";
            out.set_up = Some(set_up.clone());
            out.text = say_with("out-doubt-set-up", &args! { "id" => set_up.clone() });
        }
        Doubt::ObservationMovesNothing { observation } => {
            out.kind = "observation_moves_nothing";
            out.observation = Some(observation.clone());
            out.text = say_with("out-doubt-observation", &args! { "observation" => observed(observation) });
        }
        Doubt::FaultWithoutSigns { fault } => {
            out.kind = "fault_without_signs";
            out.faults = vec![fault.id().to_owned()];
            out.text = say_with("out-doubt-no-signs", &args! { "fault" => label(*fault) });
        }
        Doubt::RepairWithoutWork { fault } => {
            out.kind = "repair_without_work";
            out.faults = vec![fault.id().to_owned()];
            out.text = say_with("out-doubt-no-work", &args! { "fault" => label(*fault) });
        }
        Doubt::LikelihoodIsBackground { fault, observation } => {
            out.kind = "likelihood_is_background";
            out.faults = vec![fault.clone()];
            out.observation = Some(observation.clone());
            out.text = say_with(
                "out-doubt-background",
                &args! { "fault" => fault.clone(), "observation" => observation.clone() },
            );
        }
        Doubt::NearCertain { fault, observation, p } => {
            out.kind = "near_certain";
            out.faults = vec![fault.clone()];
            out.observation = Some(observation.clone());
            out.value = Some(*p);
            out.text = say_with(
                "out-doubt-certain",
                &args! { "fault" => fault.clone(), "observation" => observation.clone(), "p" => number(*p, 4) },
            );
        }
        Doubt::Alike { a, b, overlap, best, same_repair } => {
            out.kind = "alike";
            out.faults = vec![a.id().to_owned(), b.id().to_owned()];
            out.observation.clone_from(best);
            out.value = Some(*overlap);
            let id = if *same_repair { "out-doubt-alike-harmless" } else { "out-doubt-alike" };
            out.text = say_with(
                id,
                &args! {
                    "a" => label(*a), "b" => label(*b), "overlap" => number(*overlap, 2),
                    "best" => best.as_deref().map_or_else(|| say("out-nothing"), observed),
                },
            );
        }
    }
    out
}

fn draw(order: &KnowledgeDraw) -> Result<Outcome, Failure> {
    let (knowledge, _) = read_knowledge(order.knowledge.as_deref())?;
    let mut faults = Vec::new();
    for id in &order.fault {
        match FaultId::from_id(id) {
            Some(f) => faults.push(f),
            None => return Err(Failure::Usage(say_with("error-no-fault", &args! { "id" => id.clone() }))),
        }
    }
    let drawing = draw::drawing(&knowledge, &faults);
    match &order.out {
        Some(path) => {
            std::fs::write(path, drawing).map_err(|e| Failure::write(&path.display().to_string(), &e))?
        }
        None => print(&drawing)?,
    }
    Ok(Outcome::Answered)
}
