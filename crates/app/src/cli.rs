//! The command line. What each word means stands in the catalogue.

use crate::words::say;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// The whole command line.
#[derive(Parser)]
#[command(name = "sootwright", version, about = say("cli-about"), after_help = say("cli-after"))]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Subcommand)]
pub enum Command {
    #[command(about = say("cli-assess"))]
    Assess(Assess),
    #[command(about = say("cli-regeneration"))]
    Regeneration(Regeneration),
    #[command(about = say("cli-decode"))]
    Decode(Decode),
    #[command(about = say("cli-demo"))]
    Demo(Demo),
    #[command(about = say("cli-serve"))]
    Serve(Serve),
    #[command(about = say("cli-schema"))]
    Schema(Schema),
    #[command(about = say("cli-additive"))]
    Additive(Additive),
    #[command(about = say("cli-knowledge-command"))]
    Knowledge(KnowledgeOrder),
    #[command(about = say("cli-record"), after_help = say("cli-record-after"))]
    Record(Record),
    #[command(about = say("cli-simulate"))]
    Simulate(Simulate),
    #[command(about = say("cli-next"))]
    Next(Next),
    #[command(about = say("cli-plan"))]
    Plan(PlanOrder),
    #[command(about = say("cli-timetable"))]
    Timetable(TimetableOrder),
    #[command(about = say("cli-due"))]
    Due(DueOrder),
    #[command(about = say("cli-prove"))]
    Prove(ProveOrder),
    #[command(about = say("cli-trips"))]
    Trips(TripsOrder),
}

#[derive(Args)]
pub struct Assess {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "FILE.html", help = say("cli-report"))]
    pub report: Option<PathBuf>,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Regeneration {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "FILE.html", help = say("cli-regeneration-report"))]
    pub report: Option<PathBuf>,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Decode {
    #[arg(value_name = "FILE", required = true, help = say("cli-recordings"))]
    pub files: Vec<PathBuf>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "NAME", help = say("cli-signal"))]
    pub signal: Vec<String>,
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, help = say("cli-from"))]
    pub from: Option<f64>,
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, help = say("cli-to"))]
    pub to: Option<f64>,
    #[arg(long, value_name = "FILE.dbc", help = say("cli-dbc"))]
    pub dbc: Vec<PathBuf>,
    #[arg(long, value_enum, conflicts_with = "json", help = say("cli-rows"))]
    pub rows: Option<Rows>,
    #[arg(long, value_name = "PATH", requires = "rows", help = say("cli-rows-out"))]
    pub out: Option<PathBuf>,
}

/// Form in which samples leave.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Rows {
    Csv,
    JsonLines,
    Parquet,
}

#[derive(Args)]
pub struct Demo {
    #[arg(long, value_name = "DIR", default_value = "./out/demo", help = say("cli-out"))]
    pub out: PathBuf,
    #[arg(long, help = say("cli-demo-serve"))]
    pub serve: bool,
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:8017", help = say("cli-address"))]
    pub address: std::net::SocketAddr,
}

#[derive(Args)]
pub struct Serve {
    #[arg(long, value_name = "DIR", default_value = "./workshop", help = say("cli-data"))]
    pub data: PathBuf,
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:8017", help = say("cli-address"))]
    pub address: std::net::SocketAddr,
}

#[derive(Args)]
pub struct Schema {
    #[arg(value_enum, help = say("cli-schema-which"))]
    pub which: Format,
}

/// Formats with a schema.
#[derive(Clone, Copy, ValueEnum)]
pub enum Format {
    Case,
    Assessment,
    Regeneration,
    Next,
    Plan,
    Timetable,
    ClosedJobs,
    Counts,
}

#[derive(Args)]
pub struct Additive {
    #[command(subcommand)]
    pub command: AdditiveCommand,
}

#[derive(Subcommand)]
pub enum AdditiveCommand {
    #[command(about = say("cli-balance"))]
    Balance(Balance),
    #[command(about = say("cli-identify"))]
    Identify(Question),
    #[command(about = say("cli-dose"))]
    Dose(Question),
    #[command(about = say("cli-fill"))]
    Fill(Fill),
    #[command(about = say("cli-entry"))]
    Entry(Question),
    #[command(about = say("cli-mixup"))]
    Mixup(Question),
    #[command(about = say("cli-stock"))]
    Stock(Question),
    #[command(about = say("cli-forecast"))]
    Forecast(Forecast),
    #[command(about = say("cli-lots"))]
    Lots(Lots),
    #[command(about = say("cli-fluids"))]
    Fluids(Kinds),
    #[command(about = say("cli-reservoirs"))]
    Reservoirs(Kinds),
}

/// How a list is sorted, filtered and written.
#[derive(Args)]
pub struct ListOrder {
    #[arg(long, value_name = "COLUMN", allow_hyphen_values = true, help = say("cli-sort"))]
    pub sort: Option<String>,
    #[arg(long, value_name = "COLUMN=WORDS", help = say("cli-only"))]
    pub only: Vec<String>,
    #[arg(long, conflicts_with = "json", help = say("cli-csv"))]
    pub csv: bool,
}

/// Lists of a forecast.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Which {
    Cars,
    Demand,
    Plan,
}

#[derive(Args)]
pub struct Forecast {
    #[arg(value_name = "CASES", required_unless_present = "shelf_example", help = say("cli-cases"))]
    pub cases: Vec<PathBuf>,
    #[arg(long, value_name = "LITRES", help = say("cli-reserve"))]
    pub reserve_l: Option<f64>,
    #[arg(long, value_name = "FILE", help = say("cli-shelf"))]
    pub shelf: Option<PathBuf>,
    #[arg(long, help = say("cli-shelf-example"))]
    pub shelf_example: bool,
    #[arg(long, value_name = "DATE", help = say("cli-today"))]
    pub today: Option<String>,
    #[arg(long, value_name = "DAYS", help = say("cli-horizon"))]
    pub horizon_days: Option<f64>,
    #[arg(long, value_enum, default_value = "cars", requires = "csv", help = say("cli-which-list"))]
    pub which: Which,
    #[command(flatten)]
    pub list: ListOrder,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Lots {
    #[arg(value_name = "CASES", required = true, help = say("cli-cases"))]
    pub cases: Vec<PathBuf>,
    #[arg(long, value_name = "LOT", help = say("cli-lot"))]
    pub lot: Option<String>,
    #[arg(long, value_name = "CAR", help = say("cli-car"))]
    pub car: Option<String>,
    #[command(flatten)]
    pub list: ListOrder,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

/// Data to list, take out or bring in.
#[derive(Args)]
pub struct Kinds {
    #[arg(long, conflicts_with_all = ["json", "csv"], help = say("cli-export"))]
    pub export: bool,
    #[arg(long, value_name = "FILE", help = say("cli-import"))]
    pub import: Option<PathBuf>,
    #[command(flatten)]
    pub list: ListOrder,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Balance {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, value_name = "LITRES", help = say("cli-reserve"))]
    pub reserve_l: Option<f64>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

/// A question that a file of facts answers.
#[derive(Args)]
pub struct Question {
    #[arg(value_name = "FACTS", required_unless_present = "example", help = say("cli-facts"))]
    pub facts: Option<PathBuf>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, help = say("cli-example"))]
    pub example: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Fill {
    #[command(flatten)]
    pub question: Question,
    #[arg(long, help = say("cli-live"))]
    pub live: bool,
    #[arg(long, value_name = "DEVICE", requires = "live", help = say("cli-scale"))]
    pub scale: Option<PathBuf>,
}

#[derive(Args)]
pub struct KnowledgeOrder {
    #[command(subcommand)]
    pub command: KnowledgeCommand,
}

#[derive(Subcommand)]
pub enum KnowledgeCommand {
    #[command(about = say("cli-knowledge-check"))]
    Check(KnowledgeCheck),
    #[command(about = say("cli-knowledge-draw"))]
    Draw(KnowledgeDraw),
    #[command(about = say("cli-knowledge-close"))]
    Close(KnowledgeClose),
    #[command(about = say("cli-knowledge-learn"))]
    Learn(KnowledgeLearn),
    #[command(about = say("cli-knowledge-count"))]
    Count(KnowledgeCount),
    #[command(about = say("cli-knowledge-join"))]
    Join(KnowledgeJoin),
    #[command(about = say("cli-knowledge-score"))]
    Score(KnowledgeScore),
}

#[derive(Args)]
pub struct KnowledgeCheck {
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

/// A plain answer.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum YesNo {
    Yes,
    No,
}

/// A case whose end is known.
#[derive(Args)]
pub struct KnowledgeClose {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, value_name = "JOB", help = say("cli-close-number"))]
    pub number: String,
    #[arg(long, value_name = "ID", required_unless_present = "nothing_wrong", help = say("cli-close-confirmed"))]
    pub confirmed: Vec<String>,
    #[arg(long, conflicts_with = "confirmed", help = say("cli-close-nothing"))]
    pub nothing_wrong: bool,
    #[arg(long, value_name = "TEXT", default_value = "", help = say("cli-close-proof"))]
    pub proof: String,
    #[arg(long, value_enum, help = say("cli-close-back"))]
    pub came_back: Option<YesNo>,
    #[arg(long, value_name = "DATE", help = say("cli-close-on"))]
    pub on: Option<String>,
    #[arg(long, value_name = "FILE.toml", help = say("cli-close-jobs"))]
    pub jobs: PathBuf,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct KnowledgeLearn {
    #[arg(value_name = "FILE.toml", required = true, help = say("cli-learn-files"))]
    pub files: Vec<PathBuf>,
    #[arg(long = "as", value_name = "NAME", help = say("cli-learn-name"))]
    pub name: Option<String>,
    #[arg(long, value_name = "DIR", help = say("cli-learn-into"))]
    pub into: PathBuf,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct KnowledgeCount {
    #[arg(value_name = "JOBS.toml", required = true, help = say("cli-count-jobs"))]
    pub jobs: Vec<PathBuf>,
    #[arg(long = "as", value_name = "NAME", help = say("cli-learn-name"))]
    pub name: String,
    #[arg(long, value_name = "FILE.toml", help = say("cli-count-out"))]
    pub out: PathBuf,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct KnowledgeJoin {
    #[arg(value_name = "COUNTS.toml", required = true, help = say("cli-join-counts"))]
    pub counts: Vec<PathBuf>,
    #[arg(long, value_name = "FILE.toml", help = say("cli-count-out"))]
    pub out: PathBuf,
}

#[derive(Args)]
pub struct KnowledgeScore {
    #[arg(value_name = "JOBS.toml", required = true, help = say("cli-count-jobs"))]
    pub jobs: Vec<PathBuf>,
    #[arg(long, value_name = "FILE.svg", help = say("cli-score-plot"))]
    pub plot: Option<PathBuf>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
}

#[derive(Args)]
pub struct KnowledgeDraw {
    #[arg(long, value_name = "FILE.svg", help = say("cli-draw-out"))]
    pub out: Option<PathBuf>,
    #[arg(long, value_name = "ID", help = say("cli-draw-fault"))]
    pub fault: Vec<String>,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct Simulate {
    #[command(subcommand)]
    pub command: SimulateCommand,
}

#[derive(Subcommand)]
pub enum SimulateCommand {
    #[command(about = say("cli-simulate-drive"), after_help = say("cli-simulate-after"))]
    Drive(Box<SimulateDrive>),
    #[command(about = say("cli-simulate-vehicle"), after_help = say("cli-simulate-vehicle-after"))]
    Vehicle(SimulateVehicle),
}

/// An invented drive to be written.
#[derive(Args)]
pub struct SimulateDrive {
    #[arg(long, value_name = "DIR", default_value = "./out/drive", help = say("cli-out"))]
    pub out: PathBuf,
    #[arg(long, default_value_t = 1, help = say("cli-simulate-seed"))]
    pub seed: u64,
    #[arg(long, help = say("cli-simulate-heavy"))]
    pub heavy: bool,
    #[arg(long, value_name = "G_PER_L", allow_negative_numbers = true, help = say("cli-simulate-soot"))]
    pub soot: Option<f64>,
    #[arg(long, value_name = "G_PER_L", allow_negative_numbers = true, help = say("cli-simulate-ash"))]
    pub ash: Option<f64>,
    #[arg(long, value_name = "FAULT", help = say("cli-simulate-fault"))]
    pub fault: Vec<String>,
    #[arg(long, value_name = "KPA", allow_negative_numbers = true, help = say("cli-simulate-zero"))]
    pub zero: Option<f64>,
    #[arg(long, value_name = "FACTOR", help = say("cli-simulate-pressure-gain"))]
    pub pressure_gain: Option<f64>,
    #[arg(long, value_name = "KPA", help = say("cli-simulate-noise"))]
    pub noise: Option<f64>,
    #[arg(long, value_name = "SECONDS", help = say("cli-simulate-lag"))]
    pub lag: Option<f64>,
    #[arg(long, value_name = "FACTOR", help = say("cli-simulate-flow-gain"))]
    pub flow_gain: Option<f64>,
    #[arg(long, value_name = "K", allow_negative_numbers = true, help = say("cli-simulate-temperature"))]
    pub temperature_bias: Option<f64>,
    #[arg(long, value_enum, default_value_t = Route::Mixed, conflicts_with = "trace", help = say("cli-simulate-road"))]
    pub road: Route,
    #[arg(long, value_name = "MINUTES", default_value_t = 20.0, conflicts_with = "trace", help = say("cli-simulate-minutes"))]
    pub minutes: f64,
    #[arg(long, value_name = "FILE", help = say("cli-simulate-trace"))]
    pub trace: Option<PathBuf>,
    #[arg(long, value_name = "SECONDS", default_value_t = 10.0, help = say("cli-simulate-key-on"))]
    pub key_on: f64,
    #[arg(long, help = say("cli-simulate-cold"))]
    pub cold: bool,
    #[arg(long, value_enum, help = say("cli-simulate-write"))]
    pub write: Vec<Form>,
}

/// A simulated vehicle to record from.
#[derive(Args)]
pub struct SimulateVehicle {
    #[arg(long, default_value_t = 1, help = say("cli-simulate-seed"))]
    pub seed: u64,
    #[arg(long, value_name = "G_PER_L", allow_negative_numbers = true, help = say("cli-simulate-soot"))]
    pub soot: Option<f64>,
    #[arg(long, value_name = "G_PER_L", allow_negative_numbers = true, help = say("cli-simulate-ash"))]
    pub ash: Option<f64>,
    #[arg(long, value_name = "FAULT", help = say("cli-simulate-fault"))]
    pub fault: Vec<String>,
    #[arg(long, value_enum, default_value_t = Route::Mixed, help = say("cli-simulate-road"))]
    pub road: Route,
    #[arg(long, value_name = "MINUTES", default_value_t = 20.0, help = say("cli-simulate-minutes"))]
    pub minutes: f64,
    #[arg(long, value_name = "SECONDS", help = say("cli-record-seconds"))]
    pub seconds: Option<f64>,
}

/// Speed of the bus.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Rate {
    #[value(name = "125k")]
    K125,
    #[value(name = "250k")]
    K250,
    #[value(name = "500k")]
    K500,
    #[value(name = "1m")]
    M1,
}

/// A recording to be made.
#[derive(Args)]
pub struct Record {
    #[arg(long, value_name = "DEVICE", required_unless_present = "interface", conflicts_with = "interface", help = say("cli-record-serial"))]
    pub serial: Option<PathBuf>,
    #[arg(long, value_name = "NAME", help = say("cli-record-interface"))]
    pub interface: Option<String>,
    #[arg(long, default_value_t = 115_200, help = say("cli-record-baud"))]
    pub baud: u32,
    #[arg(long, value_enum, default_value_t = Rate::K500, help = say("cli-record-rate"))]
    pub rate: Rate,
    #[arg(long, help = say("cli-record-listen"))]
    pub listen: bool,
    #[arg(long, conflicts_with = "listen", help = say("cli-record-long-ids"))]
    pub long_ids: bool,
    #[arg(long, value_name = "SECONDS", help = say("cli-record-seconds"))]
    pub seconds: Option<f64>,
    #[arg(long, value_name = "FILE.log", help = say("cli-record-out"))]
    pub out: Option<PathBuf>,
}

/// Where an invented drive goes.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Route {
    Town,
    Road,
    Motorway,
    Mixed,
    Workshop,
}

/// Form of a simulated recording.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    Obd,
    J1939,
    Csv,
}

#[derive(Args)]
pub struct Next {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, value_name = "SET-UP", help = say("cli-ready"))]
    pub ready: Vec<String>,
    #[arg(long, value_name = "TEXT", help = say("cli-asked"))]
    pub asked: Option<String>,
    #[arg(long, value_name = "FILE.toml", help = say("cli-settings"))]
    pub settings: Option<PathBuf>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct DueOrder {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

#[derive(Args)]
pub struct ProveOrder {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, value_name = "CODE", help = say("cli-prove-country"))]
    pub country: Option<String>,
    #[arg(long, value_name = "DATE", help = say("cli-prove-registered"))]
    pub registered: Option<String>,
    #[arg(long, value_name = "NUMBER", help = say("cli-prove-euro"))]
    pub euro: Option<u8>,
    #[arg(long, value_name = "PER_M", help = say("cli-prove-plate"))]
    pub plate: Option<f64>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

/// A week of driving.
#[derive(Args)]
pub struct TripsOrder {
    #[arg(long, value_name = "KMxTIMES", help = say("cli-trips-town"))]
    pub town: Vec<String>,
    #[arg(long, value_name = "KMxTIMES", help = say("cli-trips-country"))]
    pub country: Vec<String>,
    #[arg(long, value_name = "KMxTIMES", help = say("cli-trips-motorway"))]
    pub motorway: Vec<String>,
    #[arg(long, value_name = "FILE", help = say("cli-trips-trace"))]
    pub trace: Vec<PathBuf>,
    #[arg(long, value_name = "TIMES", default_value_t = 5.0, help = say("cli-trips-per-week"))]
    pub per_week: f64,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
}

#[derive(Args)]
pub struct PlanOrder {
    #[arg(value_name = "CASE", help = say("cli-case"))]
    pub case: PathBuf,
    #[arg(long, value_name = "ID", help = say("cli-plan-fault"))]
    pub fault: Vec<String>,
    #[arg(long, value_name = "TEXT", help = say("cli-asked"))]
    pub asked: Option<String>,
    #[arg(long, value_name = "FILE.toml", help = say("cli-settings"))]
    pub settings: Option<PathBuf>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}

/// Several cars at once.
#[derive(Args)]
pub struct TimetableOrder {
    #[arg(value_name = "CASE", required = true, help = say("cli-timetable-cases"))]
    pub cases: Vec<PathBuf>,
    #[arg(long, value_name = "N", default_value_t = 1, help = say("cli-people"))]
    pub people: usize,
    #[arg(long, value_name = "N", default_value_t = 1, help = say("cli-lifts"))]
    pub lifts: usize,
    #[arg(long, value_name = "N=ID", help = say("cli-car-fault"))]
    pub fault: Vec<String>,
    #[arg(long, help = say("cli-json"))]
    pub json: bool,
    #[arg(long, value_name = "DIR", help = say("cli-knowledge"))]
    pub knowledge: Option<PathBuf>,
}
