//! Geometry of a wall-flow filter: channels, wall, face and length.

use crate::error::{Error, Note, noted, within};
use std::f64::consts::PI;

/// One inch, m.
pub const INCH: f64 = 0.0254;
/// One thousandth of an inch, m (wall thickness is often given in it).
pub const MIL: f64 = 25.4e-6;

/// Cells per m2 from cells per square inch: N = cpsi/0.0254².
///
/// ```
/// assert!((wallflow::geometry::cells_from_cpsi(200.0) - 310_001.0).abs() < 1.0);
/// ```
pub fn cells_from_cpsi(cpsi: f64) -> f64 {
    cpsi / (INCH * INCH)
}

/// Face area of a round filter, m2: pi D²/4.
pub fn round_face(diameter: f64) -> f64 {
    PI * diameter * diameter / 4.0
}

/// Face area of an elliptic filter, m2: pi a b/4 with the full axes `major` and `minor`, m.
///
/// ```
/// use wallflow::geometry::{elliptic_face, round_face};
/// assert!((elliptic_face(0.17, 0.12) / round_face(0.17) - 0.12 / 0.17).abs() < 1e-12);
/// ```
pub fn elliptic_face(major: f64, minor: f64) -> f64 {
    PI * major * minor / 4.0
}

/// Face area of an oval made of two half circles and a rectangle, m2: with the full `width` and
/// `height` in m (width at least height), pi h²/4 + (w − h) h.
///
/// ```
/// use wallflow::geometry::{racetrack_face, round_face};
/// assert_eq!(racetrack_face(0.15, 0.15), round_face(0.15));
/// ```
pub fn racetrack_face(width: f64, height: f64) -> f64 {
    let (w, h) = if width >= height { (width, height) } else { (height, width) };
    round_face(h) + (w - h) * h
}

/// The honeycomb: how many cells, how thick a wall, how the width is shared between the channels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cells {
    per_area: f64,
    wall: f64,
    inlet_ratio: f64,
}

impl Cells {
    /// Channels of equal width.
    ///
    /// # Inputs
    /// `per_area`: cells (inlet and outlet together) per m2 of face, 1e4 to 1e7 (6 to 6500 cpsi).
    /// `wall`: wall thickness, m, 1e-5 to 5e-3 and below the pitch N^−0.5.
    pub fn symmetric(per_area: f64, wall: f64) -> Result<Self, Error> {
        Self::inlet_wide(per_area, wall, 1.0)
    }

    /// Inlet channels wider than outlet channels.
    ///
    /// # Inputs
    /// As [`Cells::symmetric`]; `inlet_ratio` = a_in/a_out, 0.2 to 5 (series filters: 1.1 to 1.5,
    /// from memory).
    ///
    /// ```
    /// use wallflow::{Cells, Geometry, geometry::cells_from_cpsi};
    /// let cells = Cells::inlet_wide(cells_from_cpsi(300.0), 0.25e-3, 1.3)?;
    /// let body = Geometry::from_volume(cells, 2.5e-3, 0.15)?;
    /// assert!((body.inlet_width() / body.outlet_width() - 1.3).abs() < 1e-12);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn inlet_wide(per_area: f64, wall: f64, inlet_ratio: f64) -> Result<Self, Error> {
        let per_area = within("cells per area", per_area, 1e4, 1e7, "1/m2")?;
        let wall = within("wall thickness", wall, 1e-5, 5e-3, "m")?;
        let inlet_ratio = within("inlet to outlet channel width", inlet_ratio, 0.2, 5.0, "-")?;
        let pitch = per_area.sqrt().recip();
        if wall >= pitch {
            return Err(Error::NoChannel { wall_m: wall, pitch_m: pitch });
        }
        Ok(Self { per_area, wall, inlet_ratio })
    }

    /// Channels of equal width from cells per square inch and wall thickness in mil.
    ///
    /// ```
    /// let cells = wallflow::geometry::Cells::from_cpsi_mil(200.0, 12.0)?;
    /// assert!((cells.wall() - 0.3048e-3).abs() < 1e-9);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn from_cpsi_mil(cpsi: f64, wall_mil: f64) -> Result<Self, Error> {
        Self::symmetric(cells_from_cpsi(cpsi), wall_mil * MIL)
    }

    /// Cells per m2 of face.
    pub fn per_area(&self) -> f64 {
        self.per_area
    }

    /// Wall thickness, m.
    pub fn wall(&self) -> f64 {
        self.wall
    }

    /// Distance between channel centres, m.
    pub fn pitch(&self) -> f64 {
        self.per_area.sqrt().recip()
    }
}

/// A filter body, all derived sizes worked out once.
///
/// # Equations
/// pitch = N^−0.5 = (a_in + a_out)/2 + w; n = N A_f/2 inlet channels; V = A_f L;
/// filtration area A = 4 a_in L_f n with the filtering length L_f (L unless told otherwise).
///
/// # Validity
/// With unequal channels the filtering perimeter 4 a_in per inlet channel is an approximation (part
/// of a wide channel's wall faces other inlet channels). Skin and cement seams of segmented bodies
/// take several percent of the face: give the true open face area if it is known.
///
/// # Example
/// ```
/// use wallflow::geometry::{Cells, Geometry, round_face};
/// let g = Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?;
/// assert!((g.volume() - 2.4751e-3).abs() < 1e-7);
/// assert!((g.filtration_area() - 2.28842).abs() < 1e-4);
/// # Ok::<(), wallflow::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geometry {
    cells: Cells,
    face_area: f64,
    length: f64,
    filtering_length: f64,
    inlet_width: f64,
    outlet_width: f64,
    inlet_channels: f64,
}

impl Geometry {
    /// From the face area.
    ///
    /// # Inputs
    /// `face_area`: m2, 1e-5 to 1. `length`: m, 0.01 to 2.
    pub fn new(cells: Cells, face_area: f64, length: f64) -> Result<Self, Error> {
        let face_area = within("face area", face_area, 1e-5, 1.0, "m2")?;
        let length = within("filter length", length, 0.01, 2.0, "m")?;
        let open = cells.pitch() - cells.wall;
        let outlet_width = 2.0 * open / (1.0 + cells.inlet_ratio);
        Ok(Self {
            cells,
            face_area,
            length,
            filtering_length: length,
            inlet_width: cells.inlet_ratio * outlet_width,
            outlet_width,
            inlet_channels: cells.per_area * face_area / 2.0,
        })
    }

    /// From volume (m3) and length (m): the face area is V/L.
    pub fn from_volume(cells: Cells, volume: f64, length: f64) -> Result<Self, Error> {
        let length = within("filter length", length, 0.01, 2.0, "m")?;
        let volume = within("filter volume", volume, 1e-6, 1.0, "m3")?;
        Self::new(cells, volume / length, length)
    }

    /// The same body with the channels filtering over a shorter length (each ceramic end plug of
    /// 5-12 mm takes its part). Loads stay per whole volume A_f L.
    pub fn with_filtering_length(mut self, filtering_length: f64) -> Result<Self, Error> {
        self.filtering_length = within("filtering length", filtering_length, 1e-3, self.length, "m")?;
        Ok(self)
    }

    /// The same honeycomb with `share` (0 to 1, not 0) of the face: one zone of a filter.
    ///
    /// ```
    /// use wallflow::{Cells, Geometry};
    /// let body = Geometry::from_volume(Cells::from_cpsi_mil(200.0, 12.0)?, 2.5e-3, 0.15)?;
    /// let core = body.zone(0.6)?;
    /// assert!((core.volume() - 0.6 * body.volume()).abs() < 1e-15);
    /// assert_eq!(core.inlet_width(), body.inlet_width());
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn zone(mut self, share: f64) -> Result<Self, Error> {
        let share = within("share of the face", share, 1e-6, 1.0, "-")?;
        self.face_area *= share;
        self.inlet_channels *= share;
        Ok(self)
    }

    /// The honeycomb.
    pub fn cells(&self) -> Cells {
        self.cells
    }
    /// Wall thickness, m.
    pub fn wall(&self) -> f64 {
        self.cells.wall
    }
    /// Face area, m2.
    pub fn face_area(&self) -> f64 {
        self.face_area
    }
    /// Whole length, m.
    pub fn length(&self) -> f64 {
        self.length
    }
    /// Filtering length (before any ash plug), m.
    pub fn filtering_length(&self) -> f64 {
        self.filtering_length
    }
    /// Width of an inlet channel without deposits, m.
    pub fn inlet_width(&self) -> f64 {
        self.inlet_width
    }
    /// Width of an outlet channel, m.
    pub fn outlet_width(&self) -> f64 {
        self.outlet_width
    }
    /// Number of inlet channels (not rounded).
    pub fn inlet_channels(&self) -> f64 {
        self.inlet_channels
    }
    /// Volume of the body, m3.
    pub fn volume(&self) -> f64 {
        self.face_area * self.length
    }
    /// Filtration area, m2.
    pub fn filtration_area(&self) -> f64 {
        4.0 * self.inlet_width * self.filtering_length * self.inlet_channels
    }
    /// Filtration area per volume, 1/m.
    pub fn filtration_area_per_volume(&self) -> f64 {
        self.filtration_area() / self.volume()
    }
    /// Open share of the inlet face, without deposits.
    pub fn open_inlet_share(&self) -> f64 {
        self.cells.per_area * self.inlet_width * self.inlet_width / 2.0
    }
    /// Open share of the outlet face.
    pub fn open_outlet_share(&self) -> f64 {
        self.cells.per_area * self.outlet_width * self.outlet_width / 2.0
    }

    /// Says when sizes lie outside what filters of road vehicles have (from memory: 0.5-40 L,
    /// 80-450 cpsi, wall 0.15-0.6 mm). The equations hold, but a typing error is likely.
    pub fn notes(&self) -> Vec<Note> {
        [
            noted("filter volume", self.volume(), 0.5e-3, 40e-3, "m3"),
            noted(
                "cells per area",
                self.cells.per_area,
                cells_from_cpsi(80.0),
                cells_from_cpsi(450.0),
                "1/m2",
            ),
            noted("wall thickness", self.cells.wall, 0.15e-3, 0.6e-3, "m"),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}
