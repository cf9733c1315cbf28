//! Dose by volume and by metal, use, range, oxide ash.

use super::{Answer, Facts};
use crate::args;
use crate::failure::Failure;
use crate::text::Page;
use crate::words::{number, say_with};
use additive::dose::{
    Blend, DoseReach, Metal, Strength, agreeing_dose_mg_per_kg, metal_dose_mg_per_kg, oxide_g_per_1000km,
    range_km, reachable_dose_ml_per_l, use_ml_per_1000km, volume_dose_ml_per_l,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub const EXAMPLE: &str = include_str!("examples/dose.toml");

/// How far volume dose and metal dose may differ when both are stated: the roundings of two displays.
const AGREES_WITHIN: f64 = 0.05;

/// Concentrate, fuel, and a dose by metal or by volume.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    density_kg_per_m3: f64,
    metal_g_per_l: BTreeMap<Metal, f64>,
    fuel_density_kg_per_m3: f64,
    dose_mg_per_kg: Option<f64>,
    dose_ml_per_l: Option<f64>,
    dosing_unit: Option<DoseReach>,
    consumption_l_per_100km: Option<f64>,
    volume_l: Option<f64>,
    /// What else is in the reservoir.
    #[serde(default)]
    already_in: Vec<Part>,
    usable_share: Option<f64>,
    retained_share: Option<f64>,
}

/// A concentrate that was in the reservoir before.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    volume_l: f64,
    density_kg_per_m3: f64,
    metal_g_per_l: BTreeMap<Metal, f64>,
}

impl Question {
    /// Strength and volume of all that is in the reservoir: one concentrate, or a blend of those poured together.
    fn inside(&self) -> additive::Result<(Strength, Option<f64>)> {
        let own = Strength::from_g_per_l(self.density_kg_per_m3, self.metal_g_per_l.clone())?;
        let Some(litres) = self.volume_l.filter(|_| !self.already_in.is_empty()) else {
            return Ok((own, self.volume_l));
        };
        let mut blend = Blend::of(litres, &own)?;
        for p in &self.already_in {
            let part = Strength::from_g_per_l(p.density_kg_per_m3, p.metal_g_per_l.clone())?;
            blend.pour(&Blend::of(p.volume_l, &part)?);
        }
        Ok((blend.strength().unwrap_or(own), Some(blend.volume_l())))
    }
}

#[derive(Serialize)]
struct Found {
    blended: bool,
    volume_l: Option<f64>,
    metal_g_per_l: f64,
    volume_dose_ml_per_l: f64,
    metal_dose_mg_per_kg: f64,
    use_ml_per_1000km: Option<f64>,
    range_km: Option<f64>,
    oxide_g_per_1000km: Option<f64>,
}

/// The answer.
pub fn answer(f: &Facts<Question>) -> Result<Answer, Failure> {
    let found = find(&f.facts).map_err(|e| f.physics(&e))?;
    let mut page = Page::default();
    page.strong(&say_with(
        "out-dose",
        &args! { "volume" => number(found.volume_dose_ml_per_l, 3), "metal" => number(found.metal_dose_mg_per_kg, 1) },
    ));
    let strength = if found.blended { "out-strength-blend" } else { "out-strength" };
    page.line(&say_with(strength, &args! { "strength" => number(found.metal_g_per_l, 1) }));
    if let Some(ml) = found.use_ml_per_1000km {
        page.line(&say_with("out-dose-use", &args! { "use" => number(ml, 1) }));
    }
    if let (Some(km), Some(litres)) = (found.range_km, found.volume_l) {
        page.line(&say_with(
            "out-dose-range",
            &args! { "litres" => number(litres, 2), "km" => number(km, 0) },
        ));
    }
    if let Some(g) = found.oxide_g_per_1000km {
        page.line(&say_with("out-dose-oxide", &args! { "grams" => number(g, 2) }));
    }
    Ok(Answer::new(&found, page))
}

fn find(q: &Question) -> additive::Result<Found> {
    let (strength, inside) = q.inside()?;
    let (rho, s) = (q.fuel_density_kg_per_m3, strength.metal_g_per_l());
    let (volume, metal) = match (q.dose_ml_per_l, q.dose_mg_per_kg) {
        (Some(v), Some(c)) => (v, agreeing_dose_mg_per_kg(v, c, rho, &strength, AGREES_WITHIN)?),
        (Some(v), None) => (v, metal_dose_mg_per_kg(v, rho, s)?),
        (None, c) => {
            // Without any dose there is nothing to work out: the physics refuses a dose that is not a number.
            let c = c.unwrap_or(f64::NAN);
            let v = match q.dosing_unit {
                Some(reach) => reachable_dose_ml_per_l(c, rho, &strength, reach)?,
                None => volume_dose_ml_per_l(c, rho, s)?,
            };
            (v, c)
        }
    };
    let per_100 = q.consumption_l_per_100km;
    Ok(Found {
        blended: !q.already_in.is_empty() && q.volume_l.is_some(),
        volume_l: inside,
        metal_g_per_l: s,
        volume_dose_ml_per_l: volume,
        metal_dose_mg_per_kg: metal,
        use_ml_per_1000km: per_100.map(|f| use_ml_per_1000km(volume, f)).transpose()?,
        range_km: inside
            .zip(per_100)
            .map(|(l, f)| range_km(l, q.usable_share.unwrap_or(1.0), volume, f))
            .transpose()?,
        oxide_g_per_1000km: per_100
            .zip(strength.oxide_per_metal())
            .map(|(f, r)| oxide_g_per_1000km(metal, rho, f, r, q.retained_share.unwrap_or(1.0)))
            .transpose()?,
    })
}
