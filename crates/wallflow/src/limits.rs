//! Limits of substrates: soot loads, temperatures, heat capacities, with how well each is founded.

use crate::media::{Mark, Material};

/// A range with its foundation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Low end, SI.
    pub low: f64,
    /// High end, SI.
    pub high: f64,
    /// How well it is founded.
    pub mark: Mark,
    /// Source.
    pub source: &'static str,
}

const PRACTICE: &str = "makers' practice, from memory, coarse";

/// Soot load that may be burnt off, kg/m3 of filter (= g/L).
///
/// Cordierite 4-6, aluminium titanate 6-8, silicon carbide 8-10. An unknown material counts as
/// cordierite, the weakest.
///
/// ```
/// use wallflow::{limits::soot_load, media::Material};
/// assert_eq!(soot_load(Material::Unknown), soot_load(Material::Cordierite));
/// ```
pub fn soot_load(material: Material) -> Limit {
    let (low, high) = match material {
        Material::Cordierite | Material::Unknown => (4.0, 6.0),
        Material::AluminiumTitanate => (6.0, 8.0),
        Material::SiliconCarbide => (8.0, 10.0),
    };
    Limit { low, high, mark: Mark::FromMemory, source: PRACTICE }
}

/// Share of the low end of [`soot_load`] above which a standing regeneration is not shown safe.
/// Pressure reads low after partial burns, so the margin is on the safe side (choice of this project).
pub const SAFE_SHARE: f64 = 0.8;

/// Highest soot load at which a standing regeneration can be called safe, kg/m3.
///
/// ```
/// use wallflow::{limits::safe_soot_load, media::Material};
/// assert!((safe_soot_load(Material::Unknown) - 3.2).abs() < 1e-12);
/// ```
pub fn safe_soot_load(material: Material) -> f64 {
    SAFE_SHARE * soot_load(material).low
}

/// Temperature at which a substrate takes damage, K: cordierite 1000-1100 °C, silicon carbide
/// 1000-1100 °C in practice (it cracks by gradient; eutectics with ash set the limit, Choi et al., J.
/// Ind. Eng. Chem. 15 (2009) 707), aluminium titanate taken as cordierite.
pub fn peak_temperature(_material: Material) -> Limit {
    Limit { low: 1273.15, high: 1373.15, mark: Mark::FromMemory, source: PRACTICE }
}

/// Heat capacity of the filter body per volume, J/(m3 K), near 500 °C.
///
/// Cordierite 0.45e6-0.67e6 (upper end: claim of US 6541407), silicon carbide 0.8e6-1.0e6,
/// aluminium titanate 0.7e6-0.8e6.
pub fn heat_capacity(material: Material) -> Limit {
    let (low, high) = match material {
        Material::Cordierite => (0.45e6, 0.67e6),
        Material::SiliconCarbide => (0.8e6, 1.0e6),
        Material::AluminiumTitanate => (0.7e6, 0.8e6),
        Material::Unknown => (0.45e6, 1.0e6),
    };
    Limit { low, high, mark: Mark::FromMemory, source: PRACTICE }
}

/// Heat conductivity of the porous wall, W/(m K). Silicon carbide: memory says 10-60, the one
/// measured porous filter 1.95 (Arab. J. Sci. Eng. 2017, doi 10.1007/s13369-017-2872-9).
pub fn conductivity(material: Material) -> Limit {
    let (low, high) = match material {
        Material::Cordierite => (1.0, 2.0),
        Material::SiliconCarbide => (1.95, 60.0),
        Material::AluminiumTitanate => (1.0, 1.5),
        Material::Unknown => (1.0, 60.0),
    };
    Limit { low, high, mark: Mark::FromMemory, source: PRACTICE }
}

/// Ash load at which cars are cleaned or get another filter, kg/m3: 30-60 (makers' practice).
pub fn ash_load() -> Limit {
    Limit { low: 30.0, high: 60.0, mark: Mark::FromMemory, source: PRACTICE }
}
