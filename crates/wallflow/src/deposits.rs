//! What lies in the channels: soot cake, ash layer on the wall, ash plug at the end.

use crate::error::{Error, within};
use crate::geometry::Geometry;
use crate::media::Media;

/// Soot and ash per filter volume, and where the ash sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deposits {
    soot: f64,
    ash: f64,
    plug_share: f64,
    wall_fill: Option<f64>,
}

impl Deposits {
    /// A filter without any deposit.
    pub const NONE: Self = Self { soot: 0.0, ash: 0.0, plug_share: 0.0, wall_fill: None };

    /// Checked constructor.
    ///
    /// # Inputs
    /// `soot`, `ash`: kg per m3 of filter volume (the same number as g/L), 0 to 1000.
    /// `plug_share`: share of the ash in the plug at the end of the inlet channels, 0 to 1; the rest
    /// lies evenly on the wall. Whether the deposits fit is told by [`Deposits::layers`].
    ///
    /// # Example
    /// ```
    /// let d = wallflow::Deposits::new(4.0, 20.0, 0.7)?;
    /// assert_eq!(d.soot(), 4.0);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn new(soot: f64, ash: f64, plug_share: f64) -> Result<Self, Error> {
        Ok(Self {
            soot: within("soot load", soot, 0.0, 1000.0, "kg/m3")?,
            ash: within("ash load", ash, 0.0, 1000.0, "kg/m3")?,
            plug_share: within("share of the ash in the plug", plug_share, 0.0, 1.0, "-")?,
            wall_fill: None,
        })
    }

    /// The same deposits with the soot inside the wall told apart.
    ///
    /// `fill` is 0 for a wall burnt bare and 1 for a wall full of soot. Without it the fill follows
    /// from the soot load as after a complete regeneration (see [`crate::media::Wall::fill`]). After
    /// a **partial** burn the wall may be bare under a remaining cake, so the pressure drop reads low
    /// for the same soot mass; this is how to say so.
    ///
    /// ```
    /// use wallflow::{Cells, Density, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media, pressure};
    /// use wallflow::{geometry::round_face, media::Wall};
    /// let filter = Filter {
    ///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
    ///     media: Media::default().with_wall(Wall::new(3e-13)?.with_loading(2.5, 0.6)?),
    ///     ends: Ends::Reference,
    /// };
    /// let flow = FlowState::new(0.05, 573.15, 101_325.0)?;
    /// let drop = |d: &Deposits| -> Result<f64, wallflow::Error> {
    ///     Ok(pressure::closed_form(&filter, d, &Gas::exhaust(), &flow, Density::Mean)?.total())
    /// };
    /// let collected = Deposits::new(4.0, 10.0, 0.5)?;
    /// let after_partial_burn = collected.with_wall_fill(0.0)?;
    /// // The same 4 g/L show a quarter less pressure or lower still.
    /// assert!(drop(&after_partial_burn)? < 0.85 * drop(&collected)?);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn with_wall_fill(mut self, fill: f64) -> Result<Self, Error> {
        self.wall_fill = Some(within("fill of the wall", fill, 0.0, 1.0, "-")?);
        Ok(self)
    }

    /// Soot load, kg/m3 of filter volume.
    pub fn soot(&self) -> f64 {
        self.soot
    }
    /// Ash load, kg/m3 of filter volume.
    pub fn ash(&self) -> f64 {
        self.ash
    }
    /// Share of the ash in the plug.
    pub fn plug_share(&self) -> f64 {
        self.plug_share
    }
    /// Fill of the wall with soot if it was told, 0 to 1.
    pub fn wall_fill(&self) -> Option<f64> {
        self.wall_fill
    }

    /// Thickness of the layers and length of the plug.
    ///
    /// # Equations
    /// Plug length Lp = f c V/(n a² rho_p), filtering length left Le = L − Lp. Mass per channel and
    /// length: q_a = (1 − f) c V/(n Le), q_s = s V/(n Le). Each layer is a ring in a square:
    /// a1 = sqrt(a² − q_a/rho_a), a2 = sqrt(a1² − q_s/rho_s).
    ///
    /// # Inputs
    /// Geometry in m, deposits in kg/m3, packing densities in kg/m3 from `media`.
    ///
    /// # Validity
    /// Even layers. A deposit that does not fit is an error carrying both cross-sections; nothing is
    /// clamped.
    ///
    /// # Example
    /// ```
    /// use wallflow::{Cells, Deposits, Geometry, Media, geometry::round_face, media};
    /// let g = Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?;
    /// let m = Media::default().with_cake(media::Cake::new(90.0 * 2e-14, 90.0)?);
    /// let layers = Deposits::new(3.0, 0.0, 0.0)?.layers(&g, &m)?;
    /// assert!((layers.soot_thickness() - 3.6969e-5).abs() < 1e-8);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    ///
    /// # References
    /// Geometry; assumption of even layers as in Konstandopoulos and Johnson, SAE 890405.
    pub fn layers(&self, geometry: &Geometry, media: &Media) -> Result<Layers, Error> {
        let clean = geometry.inlet_width();
        let clean2 = clean * clean;
        let length = geometry.filtering_length();
        let per_channel = geometry.volume() / geometry.inlet_channels();
        let plug = if self.ash > 0.0 {
            self.plug_share * self.ash * per_channel / (clean2 * media.ash().plug_packing())
        } else {
            0.0
        };
        let filtering_length = length - plug;
        // A plug that leaves less than a thousandth of the length is a closed filter.
        if filtering_length < 1e-3 * length {
            return Err(Error::PlugTooLong { plug_m: plug, length_m: length });
        }
        let per_length = per_channel / filtering_length;
        let ash_area = (1.0 - self.plug_share) * self.ash * per_length / media.ash().packing();
        let soot_area = self.soot * per_length / media.cake().packing();
        rings(clean2, ash_area, soot_area).map(|(after_ash, after_soot)| Layers {
            filtering_length,
            plug_length: plug,
            width_clean: clean,
            width_after_ash: after_ash,
            width_after_soot: after_soot,
        })
    }
}

/// Widths left after an ash ring and a soot ring of given cross-sections in a square of area `clean2`.
pub(crate) fn rings(clean2: f64, ash_area: f64, soot_area: f64) -> Result<(f64, f64), Error> {
    let after_ash2 = clean2 - ash_area;
    if after_ash2 <= 0.0 {
        return Err(Error::ChannelFull { what: "ash layer", needed_m2: ash_area, available_m2: clean2 });
    }
    let after_soot2 = after_ash2 - soot_area;
    // Less than a ten-thousandth of the area open is a closed channel in all but name.
    if after_soot2 <= 1e-4 * clean2 {
        return Err(Error::ChannelFull { what: "soot cake", needed_m2: soot_area, available_m2: after_ash2 });
    }
    Ok((after_ash2.sqrt(), after_soot2.sqrt()))
}

/// Result of [`Deposits::layers`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layers {
    pub(crate) filtering_length: f64,
    pub(crate) plug_length: f64,
    pub(crate) width_clean: f64,
    pub(crate) width_after_ash: f64,
    pub(crate) width_after_soot: f64,
}

impl Layers {
    /// Length that still filters, m.
    pub fn filtering_length(&self) -> f64 {
        self.filtering_length
    }
    /// Length of the ash plug, m.
    pub fn plug_length(&self) -> f64 {
        self.plug_length
    }
    /// Thickness of the ash layer, m.
    pub fn ash_thickness(&self) -> f64 {
        (self.width_clean - self.width_after_ash) / 2.0
    }
    /// Thickness of the soot cake, m.
    pub fn soot_thickness(&self) -> f64 {
        (self.width_after_ash - self.width_after_soot) / 2.0
    }
    /// Width of the inlet channel after the ash layer, m.
    pub fn width_after_ash(&self) -> f64 {
        self.width_after_ash
    }
    /// Width of the inlet channel after ash and soot, m.
    pub fn width_after_soot(&self) -> f64 {
        self.width_after_soot
    }
}
