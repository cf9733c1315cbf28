//! The data the additive side is built on, to look at, take out and bring in: fluids and kinds of reservoir.

use super::{FLUIDS, envelope, own_texts};
use crate::args;
use crate::cli::Kinds;
use crate::failure::{Failure, Outcome};
use crate::inputs::read_text;
use crate::list::{Cell, List};
use crate::output::Input;
use crate::text::Page;
use crate::words::say_with;
use crate::{print, print_json};
use additive::fluid::{Band, Fluid, Library, Spread};
use additive::reservoir::{Reservoir, Reservoirs};
use std::path::Path;

/// Kinds of reservoir this version was built with.
const RESERVOIRS: &str = include_str!("../../../../knowledge/reservoirs.toml");

fn texts<'a>(
    built_in: (&'a str, &'a str),
    own: &'a [(String, String)],
) -> impl Iterator<Item = (&'a str, &'a str)> {
    std::iter::once(built_in).chain(own.iter().map(|(name, text)| (name.as_str(), text.as_str())))
}

/// Built-in kinds of reservoir with those of a folder laid over.
pub fn reservoirs(folder: Option<&Path>, inputs: &mut Vec<Input>) -> Result<Reservoirs, Failure> {
    let own = own_texts(folder, additive::reservoir::SCHEMA, inputs)?;
    read_reservoirs(&own)
}

fn read_reservoirs(own: &[(String, String)]) -> Result<Reservoirs, Failure> {
    Reservoirs::from_texts(texts(("reservoirs.toml", RESERVOIRS), own))
        .map_err(|e| Failure::Refused(e.to_string()))
}

fn read_fluids(own: &[(String, String)]) -> Result<Library, Failure> {
    Library::from_texts(texts(("fluids.toml", FLUIDS), own)).map_err(|e| Failure::Refused(e.to_string()))
}

/// Lists, exports or brings in fluids.
pub fn fluids(order: &Kinds) -> Result<Outcome, Failure> {
    let mut inputs = Vec::new();
    let mut own = own_texts(order.knowledge.as_deref(), additive::fluid::SCHEMA, &mut inputs)?;
    let brought = bring(order, &mut own, &mut inputs)?;
    let library = read_fluids(&own)?;
    keep(order, brought)?;
    let text = || library.to_text().map_err(|e| Failure::Refused(e.to_string()));
    answer(order, "fluids", inputs, fluid_list(&library), text)
}

/// Lists, exports or brings in kinds of reservoir.
pub fn kinds(order: &Kinds) -> Result<Outcome, Failure> {
    let mut inputs = Vec::new();
    let mut own = own_texts(order.knowledge.as_deref(), additive::reservoir::SCHEMA, &mut inputs)?;
    let brought = bring(order, &mut own, &mut inputs)?;
    let kinds = read_reservoirs(&own)?;
    keep(order, brought)?;
    let text = || kinds.to_text().map_err(|e| Failure::Refused(e.to_string()));
    answer(order, "reservoirs", inputs, reservoir_list(&kinds), text)
}

/// The text of a file to bring in, laid over what is there.
fn bring(
    order: &Kinds,
    own: &mut Vec<(String, String)>,
    inputs: &mut Vec<Input>,
) -> Result<Option<String>, Failure> {
    let Some(path) = &order.import else { return Ok(None) };
    let (text, blake3) = read_text(path)?;
    let shown = path.display().to_string();
    own.push((shown.clone(), text.clone()));
    inputs.push(Input { path: shown, kind: "knowledge".into(), blake3 });
    Ok(Some(text))
}

/// Copies a file that was found good into the folder of the workshop's own rows; never over another file.
fn keep(order: &Kinds, text: Option<String>) -> Result<(), Failure> {
    let (Some(from), Some(folder), Some(text)) = (&order.import, &order.knowledge, text) else {
        return Ok(());
    };
    let Some(name) = from.file_name() else { return Ok(()) };
    let to = folder.join(name);
    let shown = to.display().to_string();
    match std::fs::read_to_string(&to) {
        Ok(there) if there == text => return Ok(()),
        Ok(_) => {
            return Err(Failure::Refused(say_with("error-import-exists", &args! { "path" => shown })));
        }
        Err(_) => {}
    }
    std::fs::write(&to, text).map_err(|e| Failure::write(&shown, &e))
}

fn answer(
    order: &Kinds,
    what: &str,
    inputs: Vec<Input>,
    mut list: List,
    text: impl Fn() -> Result<String, Failure>,
) -> Result<Outcome, Failure> {
    list.arrange(&order.list)?;
    if order.export {
        print(&text()?)?;
    } else if order.list.csv {
        print(&list.csv()?)?;
    } else if order.json {
        print_json(&envelope(what, inputs, serde_json::json!({ "rows": list.json() })))?;
    } else {
        let mut page = Page::default();
        list.show(&mut page);
        print(&page.finish())?;
    }
    Ok(Outcome::Answered)
}

fn word(x: &impl serde::Serialize) -> String {
    serde_json::to_value(x).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

fn ends(spread: Option<Spread>, decimals: usize) -> [Cell; 2] {
    spread.map_or([Cell::Empty, Cell::Empty], |s| {
        [Cell::number(s.low, decimals), Cell::number(s.high, decimals)]
    })
}

fn band(b: Option<&Band>, decimals: usize) -> [Cell; 2] {
    b.map_or([Cell::Empty, Cell::Empty], |b| [Cell::number(b.low, decimals), Cell::number(b.high, decimals)])
}

fn fluid_list(library: &Library) -> List {
    let mut list = List::new(&[
        ("id", true, false),
        ("name", true, false),
        ("kind", false, false),
        ("generation", false, false),
        ("density_20_low", true, true),
        ("density_20_high", true, true),
        ("viscosity_20_low", true, true),
        ("viscosity_20_high", true, true),
        ("metal_low", true, true),
        ("metal_high", true, true),
        ("refractive_low", false, true),
        ("refractive_high", false, true),
        ("shelf_life_low", false, true),
        ("shelf_life_high", false, true),
        ("mark", true, false),
        ("source", false, false),
    ]);
    for f in library.iter() {
        let mut row = vec![
            Cell::text(f.id.clone()),
            Cell::text(f.name.clone()),
            Cell::text(word(&f.kind)),
            Cell::text(f.generation.clone().unwrap_or_default()),
        ];
        row.extend(ends(f.density_kg_m3(20.0).ok(), 1));
        row.extend(ends(f.kinematic_mm2_s(20.0).ok(), 2));
        row.extend(ends(f.strength_g_per_l().ok(), 1));
        row.extend(ends(f.refractive_index(20.0), 4));
        row.extend(band(f.shelf_life_months.as_ref(), 0));
        let (mark, source) = trusted(f);
        row.extend([Cell::text(mark), Cell::text(source)]);
        list.rows.push(row);
    }
    list
}

/// Mark and source of the density, else of the refractive index, else of the urea.
fn trusted(f: &Fluid) -> (String, String) {
    let point = f.density.first().map(|p| (p.mark, &p.source));
    let of = |b: Option<&'_ Band>| b.map(|b| (b.mark, b.source.clone()));
    point
        .map(|(m, s)| (m, s.clone()))
        .or_else(|| of(f.refractive_20.as_ref()))
        .or_else(|| of(f.urea_pct.as_ref()))
        .map_or_else(Default::default, |(m, s)| (word(&m), s))
}

fn reservoir_list(kinds: &Reservoirs) -> List {
    let mut list = List::new(&[
        ("id", true, false),
        ("name", true, false),
        ("rigid", false, false),
        ("fluid", true, false),
        ("controller", true, false),
        ("capacity_low", true, true),
        ("capacity_high", true, true),
        ("dose_low", true, true),
        ("dose_high", true, true),
        ("metal_dose_low", false, true),
        ("metal_dose_high", false, true),
        ("range_low", false, true),
        ("range_high", false, true),
        ("fill_minutes_low", false, true),
        ("fill_minutes_high", false, true),
        ("mark", true, false),
        ("source", false, false),
        ("check", false, false),
    ]);
    for r in kinds.iter() {
        list.rows.push(reservoir_row(r));
    }
    list
}

fn reservoir_row(r: &Reservoir) -> Vec<Cell> {
    let mut row = vec![
        Cell::text(r.id.clone()),
        Cell::text(r.name.clone().unwrap_or_default()),
        Cell::text(r.rigid.map_or_else(String::new, |b| b.to_string())),
        Cell::text(r.fluid.clone().unwrap_or_default()),
        Cell::text(r.controller.as_ref().map_or_else(String::new, word)),
    ];
    row.extend(band(r.capacity_l.as_ref(), 2));
    row.extend(band(r.volume_dose_ml_per_l.as_ref(), 3));
    row.extend(band(r.metal_dose_mg_per_kg.as_ref(), 1));
    row.extend(band(r.range_km.as_ref(), 0));
    row.extend(band(r.fill_minutes.as_ref(), 0));
    let trusted = r.capacity_l.as_ref();
    row.push(Cell::text(trusted.map_or_else(String::new, |b| word(&b.mark))));
    row.push(Cell::text(trusted.map_or_else(String::new, |b| b.source.clone())));
    row.push(Cell::text(r.check.clone().unwrap_or_default()));
    row
}
