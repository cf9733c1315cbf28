//! OBD services (SAE J1979, ISO 15031-5): parameters of service 01 and 02, codes, vehicle information.
//!
//! Formulas were cross-checked against python-OBD 0.7.3, Scapy 2.8.0, OBDb/SAEJ1979 and the open source of the
//! SAE J1699-3 test; those of 8B, 8C, 8F, 9B, A1, A5 and the scale of 7A/7B are from memory of the J1979
//! digital annex, as is what the bytes of 81, 82, 88, 89, 8A and 94 are for (their lengths were seen).

use crate::field::{Decoded, Field, NONE, Raw};
use crate::quantity::Quantity::{self, *};

/// The data lengths parameter `pid` may have, the usual one first; empty = not known.
///
/// Needed to split an answer that holds several parameters.
pub fn lengths(pid: u8) -> &'static [u8] {
    match pid {
        0x04..=0x0B | 0x0D..=0x0F | 0x11..=0x13 | 0x1C..=0x1E | 0x2C..=0x30 | 0x33 => &[1],
        0x45..=0x4C | 0x51 | 0x52 | 0x55..=0x58 | 0x5A..=0x5C | 0x5F | 0x61 | 0x62 => &[1],
        0x7D | 0x7E | 0x84 | 0x8D | 0x8E | 0xA9 => &[1],
        0x02 | 0x03 | 0x0C | 0x10 | 0x14..=0x1B | 0x1F | 0x21..=0x23 | 0x31 | 0x32 | 0x3C..=0x3F => &[2],
        0x42..=0x44 | 0x4D | 0x4E | 0x53 | 0x54 | 0x59 | 0x5D | 0x5E | 0x63 | 0x65 | 0x92 | 0x9E | 0xA2 => {
            &[2]
        }
        0x67 | 0x6F | 0x90 | 0x93 => &[3],
        0x00 | 0x01 | 0x20 | 0x24..=0x2B | 0x34..=0x3B | 0x40 | 0x41 | 0x4F | 0x50 | 0x60 | 0x80 => &[4],
        0x9B | 0x9D | 0xA0 | 0xA4..=0xA8 | 0xC0 => &[4],
        0x64 | 0x66 | 0x6A..=0x6C | 0x72..=0x74 | 0x77 | 0x86 | 0x87 | 0x91 => &[5],
        0x6E => &[5, 9],
        0x71 => &[6],
        0x9A => &[6],
        0x6D => &[6, 11],
        0x68 | 0x69 | 0x75 | 0x76 | 0x7A | 0x7B | 0x8B | 0x8F => &[7],
        0x78 | 0x79 | 0x7C | 0x98 | 0x99 | 0x9F | 0xA1 | 0xA3 => &[9],
        0x83 => &[9, 5],
        0x70 | 0x85 => &[10],
        0x94 => &[12],
        0x7F | 0x88 => &[13],
        0x8C | 0x9C => &[17],
        0x81 | 0x82 => &[21, 41],
        0x89 | 0x8A => &[41],
        _ => &[],
    }
}

const fn field(
    quantity: Quantity,
    instance: u8,
    support: u8,
    start: u8,
    raw: Raw,
    unit: &'static str,
) -> Field {
    Field {
        quantity,
        instance,
        unit,
        support,
        blocked: NONE,
        start,
        raw,
        mul: 1.0,
        div: 1.0,
        add: 0.0,
        per: 1.0,
    }
}

impl Field {
    const fn times(mut self, mul: f64) -> Field {
        self.mul = mul;
        self
    }
    const fn over(mut self, div: f64) -> Field {
        self.div = div;
        self
    }
    const fn plus(mut self, add: f64) -> Field {
        self.add = add;
        self
    }
    const fn per(mut self, per: f64) -> Field {
        self.per = per;
        self
    }
    const fn blocked_by(mut self, bit: u8) -> Field {
        self.blocked = bit;
        self
    }
}

/// A byte as share of 255.
const fn percent(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    field(q, instance, support, start, Raw::U8, "%").times(100.0).over(255.0)
}
/// A byte with 40 degC below zero.
const fn celsius(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    field(q, instance, support, start, Raw::U8, "degC").plus(-40.0)
}
/// Two bytes of a tenth of a degree with 40 degC below zero.
const fn celsius_wide(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    field(q, instance, support, start, Raw::U16, "degC").over(10.0).plus(-40.0)
}
const fn torque(q: Quantity, instance: u8, start: u8) -> Field {
    field(q, instance, NONE, start, Raw::U8, "%").plus(-125.0)
}
const fn u8s(q: Quantity, instance: u8, support: u8, start: u8, unit: &'static str) -> Field {
    field(q, instance, support, start, Raw::U8, unit)
}
const fn u16s(q: Quantity, instance: u8, support: u8, start: u8, unit: &'static str) -> Field {
    field(q, instance, support, start, Raw::U16, unit)
}
const fn u32s(q: Quantity, instance: u8, support: u8, start: u8, unit: &'static str) -> Field {
    field(q, instance, support, start, Raw::U32, unit)
}
const fn bits(q: Quantity, instance: u8, support: u8, start: u8, shift: u8, length: u8) -> Field {
    field(q, instance, support, start, Raw::Bits { shift, length }, "")
}
/// Signed byte share around 128.
const fn error_percent(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    field(q, instance, support, start, Raw::U8, "%").times(100.0).over(128.0).plus(-100.0)
}
/// Two bytes of 1/32 kPa, absolute.
const fn fine_kpa(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    u16s(q, instance, support, start, "kPa").over(32.0)
}
/// Two bytes of 0.01 kPa.
const fn hundredth_kpa(q: Quantity, instance: u8, support: u8, start: u8) -> Field {
    u16s(q, instance, support, start, "kPa").over(100.0)
}

macro_rules! rows {
    ($($field:expr),+ $(,)?) => {{ const ROWS: &[Field] = &[$($field),+]; ROWS }};
}

/// The rows of a parameter whose data have `length` bytes. Parameters that hold states, masks or petrol-engine
/// values have none.
pub(crate) fn fields(pid: u8, length: usize) -> &'static [Field] {
    const N: u8 = NONE;
    match pid {
        0x01 => rows![bits(MalfunctionLamp, 0, N, 0, 7, 1), bits(StoredCodeCount, 0, N, 0, 0, 7)],
        0x04 => rows![percent(EngineLoad, 0, N, 0)],
        0x05 => rows![celsius(CoolantTemperature, 0, N, 0)],
        0x0B => rows![u8s(IntakeManifoldPressure, 0, N, 0, "kPa")],
        0x0C => rows![u16s(EngineSpeed, 0, N, 0, "rpm").over(4.0)],
        0x0D => rows![u8s(VehicleSpeed, 0, N, 0, "km/h")],
        0x0F => rows![celsius(IntakeAirTemperature, 0, N, 0)],
        0x10 => rows![u16s(IntakeAirMassFlow, 0, N, 0, "g/s").over(100.0)],
        0x11 => rows![percent(Throttle, 0, N, 0)],
        0x1F => rows![u16s(TimeSinceStart, 0, N, 0, "s")],
        0x21 => rows![u16s(DistanceWithLamp, 0, N, 0, "km")],
        0x23 => rows![u16s(RailPressure, 0, N, 0, "kPa").times(10.0)],
        0x2C => rows![percent(EgrCommanded, 0, N, 0)],
        0x2D => rows![error_percent(EgrError, 0, N, 0)],
        0x2F => rows![percent(FuelLevel, 0, N, 0)],
        0x30 => rows![u8s(WarmupsSinceCodesCleared, 0, N, 0, "1")],
        0x31 => rows![u16s(DistanceSinceCodesCleared, 0, N, 0, "km")],
        0x33 => rows![u8s(BarometricPressure, 0, N, 0, "kPa")],
        0x3C => rows![celsius_wide(CatalystTemperature, 1, N, 0)],
        0x3D => rows![celsius_wide(CatalystTemperature, 11, N, 0)],
        0x3E => rows![celsius_wide(CatalystTemperature, 2, N, 0)],
        0x3F => rows![celsius_wide(CatalystTemperature, 12, N, 0)],
        0x42 => rows![u16s(BatteryVoltage, 0, N, 0, "V").over(1000.0)],
        0x43 => rows![u16s(AbsoluteLoad, 0, N, 0, "%").times(100.0).over(255.0)],
        0x45 => rows![percent(ThrottleRelative, 0, N, 0)],
        0x46 => rows![celsius(AmbientTemperature, 0, N, 0)],
        0x47 => rows![percent(Throttle, 2, N, 0)],
        0x48 => rows![percent(Throttle, 3, N, 0)],
        0x49 => rows![percent(Pedal, 1, N, 0)],
        0x4A => rows![percent(Pedal, 2, N, 0)],
        0x4B => rows![percent(Pedal, 3, N, 0)],
        0x4C => rows![percent(ThrottleCommanded, 0, N, 0)],
        0x4D => rows![u16s(TimeWithLamp, 0, N, 0, "min")],
        0x4E => rows![u16s(TimeSinceCodesCleared, 0, N, 0, "min")],
        0x59 => rows![u16s(RailPressureAbsolute, 0, N, 0, "kPa").times(10.0)],
        0x5A => rows![percent(Pedal, 0, N, 0)],
        0x5C => rows![celsius(OilTemperature, 0, N, 0)],
        0x5D => rows![u16s(InjectionTiming, 0, N, 0, "deg").over(128.0).plus(-210.0)],
        0x5E => rows![u16s(FuelVolumeRate, 0, N, 0, "L/h").times(0.05)],
        0x61 => rows![torque(TorqueDemanded, 0, 0)],
        0x62 => rows![torque(TorqueActual, 0, 0)],
        0x63 => rows![u16s(ReferenceTorque, 0, N, 0, "N m")],
        0x64 => rows![
            torque(TorquePoint, 1, 0),
            torque(TorquePoint, 2, 1),
            torque(TorquePoint, 3, 2),
            torque(TorquePoint, 4, 3),
            torque(TorquePoint, 5, 4),
        ],
        0x65 => rows![
            bits(PtoActive, 0, 0, 1, 0, 1),
            bits(GearboxNeutral, 1, 1, 1, 1, 1),
            bits(GearboxNeutral, 2, 2, 1, 2, 1),
            bits(GlowLamp, 0, 3, 1, 3, 1),
        ],
        0x66 => rows![
            u16s(IntakeAirMassFlow, 1, 0, 1, "g/s").over(32.0),
            u16s(IntakeAirMassFlow, 2, 1, 3, "g/s").over(32.0),
        ],
        0x67 => rows![celsius(CoolantTemperature, 1, 0, 1), celsius(CoolantTemperature, 2, 1, 2)],
        0x68 => rows![
            celsius(IntakeAirTemperature, 1, 0, 1),
            celsius(IntakeAirTemperature, 2, 1, 2),
            celsius(IntakeAirTemperature, 3, 2, 3),
            celsius(IntakeAirTemperature, 11, 3, 4),
            celsius(IntakeAirTemperature, 12, 4, 5),
            celsius(IntakeAirTemperature, 13, 5, 6),
        ],
        0x69 => rows![
            percent(EgrCommanded, 1, 0, 1),
            percent(EgrActual, 1, 1, 2),
            error_percent(EgrError, 1, 2, 3),
            percent(EgrCommanded, 2, 3, 4),
            percent(EgrActual, 2, 4, 5),
            error_percent(EgrError, 2, 5, 6),
        ],
        0x6A => rows![
            percent(IntakeFlapCommanded, 1, 0, 1),
            percent(IntakeFlapActual, 1, 1, 2),
            percent(IntakeFlapCommanded, 2, 2, 3),
            percent(IntakeFlapActual, 2, 3, 4),
        ],
        0x6B => rows![
            field(EgrTemperature, 1, 0, 1, Raw::U8Wide(4), "degC").plus(-40.0),
            field(EgrTemperature, 2, 1, 2, Raw::U8Wide(5), "degC").plus(-40.0),
            field(EgrTemperature, 11, 2, 3, Raw::U8Wide(6), "degC").plus(-40.0),
            field(EgrTemperature, 12, 3, 4, Raw::U8Wide(7), "degC").plus(-40.0),
        ],
        0x6C => rows![
            percent(ThrottleCommanded, 1, 0, 1),
            percent(ThrottleRelative, 1, 1, 2),
            percent(ThrottleCommanded, 2, 2, 3),
            percent(ThrottleRelative, 2, 3, 4),
        ],
        0x6D => {
            const ALL: &[Field] = rows![
                u16s(RailPressureCommanded, 1, 0, 1, "kPa").times(10.0),
                u16s(RailPressure, 1, 1, 3, "kPa").times(10.0),
                celsius(FuelTemperature, 1, 2, 5),
                u16s(RailPressureCommanded, 2, 3, 6, "kPa").times(10.0),
                u16s(RailPressure, 2, 4, 8, "kPa").times(10.0),
                celsius(FuelTemperature, 2, 5, 10),
            ];
            if length >= 11 { ALL } else { ALL.split_at(3).0 }
        }
        0x6F => {
            rows![u8s(CompressorInletPressure, 1, 0, 1, "kPa"), u8s(CompressorInletPressure, 2, 1, 2, "kPa"),]
        }
        0x70 => rows![
            fine_kpa(BoostPressureCommanded, 1, 0, 1),
            fine_kpa(BoostPressureActual, 1, 1, 3),
            bits(BoostControlState, 1, 2, 9, 0, 2),
            fine_kpa(BoostPressureCommanded, 2, 3, 5),
            fine_kpa(BoostPressureActual, 2, 4, 7),
            bits(BoostControlState, 2, 5, 9, 2, 2),
        ],
        0x71 => rows![
            percent(VaneCommanded, 1, 0, 1),
            percent(VaneActual, 1, 1, 2),
            bits(VaneControlState, 1, 2, 5, 0, 2),
            percent(VaneCommanded, 2, 3, 3),
            percent(VaneActual, 2, 4, 4),
            bits(VaneControlState, 2, 5, 5, 2, 2),
        ],
        0x72 => rows![
            percent(WastegateCommanded, 1, 0, 1),
            percent(WastegateActual, 1, 1, 2),
            percent(WastegateCommanded, 2, 2, 3),
            percent(WastegateActual, 2, 3, 4),
        ],
        0x73 => rows![hundredth_kpa(ExhaustPressure, 1, 0, 1), hundredth_kpa(ExhaustPressure, 2, 1, 3)],
        // The scale is disputed: the raw count stays the native value, x 10 rpm is the converted one.
        0x74 => rows![
            u16s(TurbochargerSpeed, 1, 0, 1, "raw").per(0.1),
            u16s(TurbochargerSpeed, 2, 1, 3, "raw").per(0.1),
        ],
        0x75 => rows![
            celsius(CompressorInletTemperature, 1, 0, 1),
            celsius(CompressorOutletTemperature, 1, 1, 2),
            celsius_wide(TurbineInletTemperature, 1, 2, 3),
            celsius_wide(TurbineOutletTemperature, 1, 3, 5),
        ],
        0x76 => rows![
            celsius(CompressorInletTemperature, 2, 0, 1),
            celsius(CompressorOutletTemperature, 2, 1, 2),
            celsius_wide(TurbineInletTemperature, 2, 2, 3),
            celsius_wide(TurbineOutletTemperature, 2, 3, 5),
        ],
        0x77 => rows![
            celsius(ChargeAirTemperature, 1, 0, 1),
            celsius(ChargeAirTemperature, 2, 1, 2),
            celsius(ChargeAirTemperature, 11, 2, 3),
            celsius(ChargeAirTemperature, 12, 3, 4),
        ],
        0x78 => const { &exhaust_temperatures(1) },
        0x79 => const { &exhaust_temperatures(11) },
        0x98 => const { &exhaust_temperatures(5) },
        0x99 => const { &exhaust_temperatures(15) },
        0x7A => const { &filter_pressures(1) },
        0x7B => const { &filter_pressures(2) },
        0x7C => rows![
            celsius_wide(FilterInletTemperature, 1, 0, 1),
            celsius_wide(FilterOutletTemperature, 1, 1, 3),
            celsius_wide(FilterInletTemperature, 2, 2, 5),
            celsius_wide(FilterOutletTemperature, 2, 3, 7),
        ],
        0x7D => rows![u8s(ControlAreaStatus, 1, N, 0, "")],
        0x7E => rows![u8s(ControlAreaStatus, 2, N, 0, "")],
        0x81 if length <= 21 => const { &run_times(1) },
        0x82 if length <= 21 => const { &run_times(6) },
        0x81 => const { &double_run_times(1) },
        0x82 => const { &double_run_times(6) },
        0x89 => const { &double_run_times(11) },
        0x8A => const { &double_run_times(16) },
        0x7F => rows![
            u32s(EngineRunTime, 0, 0, 1, "s"),
            u32s(EngineIdleTime, 0, 1, 5, "s"),
            u32s(PtoRunTime, 0, 2, 9, "s"),
        ],
        0x83 if length <= 5 => rows![u16s(Nox, 1, 0, 1, "ppm"), u16s(Nox, 11, 1, 3, "ppm")],
        0x83 => const { &nox(Nox) },
        0xA1 => const { &nox(NoxCorrected) },
        0x84 => rows![celsius(ManifoldSurfaceTemperature, 0, N, 0)],
        0x85 => rows![
            u16s(ReagentRate, 0, 0, 1, "L/h").times(0.005),
            u16s(ReagentRateDemanded, 0, 1, 3, "L/h").times(0.005),
            percent(ReagentLevel, 0, 2, 5),
            u32s(ReagentWarningTime, 0, 3, 6, "s"),
        ],
        0x86 => rows![
            u16s(ParticulateMass, 1, 0, 1, "mg/m3").times(0.0125),
            u16s(ParticulateMass, 2, 1, 3, "mg/m3").times(0.0125),
        ],
        0x87 => rows![fine_kpa(IntakeManifoldPressure, 1, 0, 1), fine_kpa(IntakeManifoldPressure, 2, 1, 3)],
        // Status now, four bits for each of the last blocks of 10,000 km, distances.
        0x88 => rows![
            bits(InducementReason, 1, N, 0, 0, 1),
            bits(InducementReason, 2, N, 0, 1, 1),
            bits(InducementReason, 3, N, 0, 2, 1),
            bits(InducementReason, 4, N, 0, 3, 1),
            bits(InducementActive, 0, N, 0, 7, 1),
            bits(InducementHistory, 1, N, 1, 0, 4),
            bits(InducementHistory, 2, N, 1, 4, 4),
            bits(InducementHistory, 3, N, 2, 0, 4),
            bits(InducementHistory, 4, N, 2, 4, 4),
            u16s(InducementDistance, 1, N, 3, "km"),
            u16s(InducementDistance, 2, N, 5, "km"),
            u16s(InducementDistance, 3, N, 7, "km"),
            u16s(InducementDistance, 4, N, 9, "km"),
            u16s(InducementDistance, 5, N, 11, "km"),
        ],
        // One support bit for the levels, one for each counter.
        0x94 => rows![
            field(InducementState, 1, 0, 1, Raw::State { shift: 0 }, ""),
            field(InducementState, 2, 0, 1, Raw::State { shift: 2 }, ""),
            field(InducementState, 3, 0, 1, Raw::State { shift: 4 }, ""),
            u16s(NoxWarningTime, 1, 1, 2, "h"),
            u16s(NoxWarningTime, 2, 2, 4, "h"),
            u16s(NoxWarningTime, 3, 3, 6, "h"),
            u16s(NoxWarningTime, 4, 4, 8, "h"),
            u16s(NoxWarningTime, 5, 5, 10, "h"),
        ],
        0x8B => rows![
            bits(RegenerationActive, 0, 0, 1, 0, 1),
            bits(RegenerationKind, 0, 1, 1, 1, 1),
            bits(AdsorberRegenerating, 0, 2, 1, 2, 1),
            bits(Desulphurising, 0, 3, 1, 3, 1),
            percent(RegenerationTrigger, 0, 4, 2),
            u16s(MeanTimeBetweenRegenerations, 0, 5, 3, "min"),
            u16s(MeanDistanceBetweenRegenerations, 0, 6, 5, "km"),
        ],
        0x8C => rows![
            oxygen(1, 0, 1),
            oxygen(2, 1, 3),
            oxygen(11, 2, 5),
            oxygen(12, 3, 7),
            lambda(1, 4, 9),
            lambda(2, 5, 11),
            lambda(11, 6, 13),
            lambda(12, 7, 15),
        ],
        0x8E => rows![torque(TorqueFriction, 0, 0)],
        0x8F => rows![
            bits(ParticulateSensorActive, 1, 0, 1, 0, 1),
            bits(ParticulateSensorRegenerating, 1, 0, 1, 1, 1),
            field(ParticulateSensorReading, 1, 1, 2, Raw::I16, "%").times(0.01),
            bits(ParticulateSensorActive, 2, 2, 4, 0, 1),
            bits(ParticulateSensorRegenerating, 2, 2, 4, 1, 1),
            field(ParticulateSensorReading, 2, 3, 5, Raw::I16, "%").times(0.01),
        ],
        0x9B => rows![
            bits(ReagentKind, 0, 0, 0, 4, 4),
            u8s(ReagentConcentration, 0, 1, 1, "%").times(0.25),
            celsius(ReagentTemperature, 0, 2, 2),
            percent(ReagentLevel, 0, 3, 3),
        ],
        0x9D => rows![
            u16s(FuelMassRate, 0, N, 0, "g/s").over(50.0),
            u16s(VehicleFuelMassRate, 0, N, 2, "g/s").over(50.0),
        ],
        0x9E => rows![u16s(ExhaustMassFlow, 0, N, 0, "kg/h").over(5.0).per(3.6)],
        0x9F => rows![
            percent(FuelSystemUse, 1, 0, 1),
            percent(FuelSystemUse, 2, 1, 2),
            percent(FuelSystemUse, 3, 2, 3),
            percent(FuelSystemUse, 4, 3, 4),
            percent(FuelSystemUse, 5, 4, 5),
            percent(FuelSystemUse, 6, 5, 6),
            percent(FuelSystemUse, 7, 6, 7),
            percent(FuelSystemUse, 8, 7, 8),
        ],
        0xA5 => rows![
            u8s(ReagentCommanded, 0, 0, 1, "%").times(0.5),
            u16s(ReagentUsed, 0, 1, 2, "L").times(0.0005),
        ],
        0xA6 => rows![u32s(Odometer, 0, N, 0, "km").over(10.0)],
        _ => &[],
    }
}

/// Five running times, each with its support bit.
const fn run_times(first: u8) -> [Field; 5] {
    [
        u32s(AuxiliaryRunTime, first, 0, 1, "s"),
        u32s(AuxiliaryRunTime, first + 1, 1, 5, "s"),
        u32s(AuxiliaryRunTime, first + 2, 2, 9, "s"),
        u32s(AuxiliaryRunTime, first + 3, 3, 13, "s"),
        u32s(AuxiliaryRunTime, first + 4, 4, 17, "s"),
    ]
}

/// Two running times for each of five devices, one support bit for both.
const fn double_run_times(first: u8) -> [Field; 10] {
    const fn pair(device: u8, support: u8) -> [Field; 2] {
        [
            u32s(AuxiliaryRunTime, device, support, 1 + 8 * support, "s"),
            u32s(AuxiliaryRunTimeSecond, device, support, 5 + 8 * support, "s"),
        ]
    }
    let [[a, b], [c, d], [e, f], [g, h], [i, j]] =
        [pair(first, 0), pair(first + 1, 1), pair(first + 2, 2), pair(first + 3, 3), pair(first + 4, 4)];
    [a, b, c, d, e, f, g, h, i, j]
}

const fn exhaust_temperatures(first: u8) -> [Field; 4] {
    [
        celsius_wide(ExhaustTemperature, first, 0, 1),
        celsius_wide(ExhaustTemperature, first + 1, 1, 3),
        celsius_wide(ExhaustTemperature, first + 2, 2, 5),
        celsius_wide(ExhaustTemperature, first + 3, 3, 7),
    ]
}

/// Pressure drop signed, pressures before and after unsigned, all 0.01 kPa (from memory of the J1979 digital
/// annex). Open sources disagree; the recording is checked against this reading before it is handed out.
const fn filter_pressures(bank: u8) -> [Field; 3] {
    [
        field(FilterDifferentialPressure, bank, 0, 1, Raw::I16, "kPa").over(100.0),
        hundredth_kpa(FilterInletPressure, bank, 1, 3),
        hundredth_kpa(FilterOutletPressure, bank, 2, 5),
    ]
}

/// The nine-byte form: bits 4 to 7 say that a sensor has no reading yet.
const fn nox(q: Quantity) -> [Field; 4] {
    [
        u16s(q, 1, 0, 1, "ppm").blocked_by(4),
        u16s(q, 2, 1, 3, "ppm").blocked_by(5),
        u16s(q, 11, 2, 5, "ppm").blocked_by(6),
        u16s(q, 12, 3, 7, "ppm").blocked_by(7),
    ]
}

const fn oxygen(instance: u8, support: u8, start: u8) -> Field {
    u16s(ExhaustOxygen, instance, support, start, "%").times(100.0).over(65535.0)
}

const fn lambda(instance: u8, support: u8, start: u8) -> Field {
    u16s(Lambda, instance, support, start, "1").times(8.0).over(65536.0)
}

/// Decodes the data bytes of one parameter (service and parameter number already taken off). A field whose
/// support bit is 0 comes as absent, whatever its bytes hold.
///
/// Parameter 74 (turbocharger speed) has a disputed scale: its native value is the raw count, the converted
/// one uses 10 rpm a count.
pub fn decode(pid: u8, data: &[u8]) -> impl Iterator<Item = Decoded> {
    fields(pid, data.len()).iter().map(move |field| field.decode(data))
}

/// True for parameters of known length whose content is not decoded here and that are no masks, states or codes.
pub(crate) fn is_passed_over(pid: u8) -> bool {
    matches!(pid, 0x6E | 0x90..=0x93 | 0x9A | 0x9C | 0xA3)
}

/// The parameters a support mask names: parameter `base` (00, 20, 40 ...) and its four data bytes.
pub fn supported(base: u8, mask: [u8; 4]) -> impl Iterator<Item = u8> {
    let mask = u32::from_be_bytes(mask);
    (0..32u8).filter(move |n| mask & (0x8000_0000 >> n) != 0).map(move |n| base.wrapping_add(n + 1))
}

/// Parameters of one answer: at most six stand in one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Parameters<'a> {
    list: [(u8, &'a [u8]); 6],
    count: usize,
}

impl<'a> Parameters<'a> {
    /// Parameter number and data, in the order of the answer.
    pub fn as_slice(&self) -> &[(u8, &'a [u8])] {
        self.list.get(..self.count).unwrap_or(&[])
    }

    fn push(&mut self, pid: u8, data: &'a [u8]) -> bool {
        match self.list.get_mut(self.count) {
            Some(slot) => {
                *slot = (pid, data);
                self.count += 1;
                true
            }
            None => false,
        }
    }
}

/// Splits the bytes behind `41` into parameters. Where a parameter has two lengths the one that lets the whole
/// answer come out even is taken. `skip` bytes stand between number and data (1 in service 02: the frame).
///
/// `None` if the answer cannot be split: an unknown parameter, or data that do not come out even.
pub fn split(answer: &[u8], skip: usize) -> Option<Parameters<'_>> {
    let mut found = Parameters::default();
    split_rest(answer, skip, &mut found).then_some(found)
}

fn split_rest<'a>(rest: &'a [u8], skip: usize, found: &mut Parameters<'a>) -> bool {
    let Some((pid, body)) = rest.split_first() else { return found.count > 0 };
    let Some(body) = body.get(skip..) else { return false };
    for length in lengths(*pid) {
        if let Some((data, after)) = body.split_at_checked(usize::from(*length)) {
            let before = found.count;
            if found.push(*pid, data) && split_rest(after, skip, found) {
                return true;
            }
            found.count = before;
        }
    }
    false
}

/// Self-test state of a module: parameter 01.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonitorStatus {
    /// The malfunction indicator lamp is on.
    pub lamp: bool,
    /// Number of stored codes.
    pub codes: u8,
    /// The engine ignites by compression.
    pub compression_ignition: bool,
    supported: u16,
    incomplete: u16,
}

/// Monitors in the order of the bits: three continuous ones, then eight that depend on the kind of engine.
const CONTINUOUS: [&str; 3] = ["misfire", "fuel system", "components"];
const DIESEL: [&str; 8] = [
    "hydrocarbon catalyst",
    "NOx aftertreatment",
    "reserved",
    "boost pressure",
    "reserved",
    "exhaust gas sensor",
    "particulate filter",
    "EGR or valve timing",
];
const PETROL: [&str; 8] = [
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "air conditioning or petrol particulate filter",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR or valve timing",
];

impl MonitorStatus {
    /// Reads the four data bytes of parameter 01.
    pub fn read(data: [u8; 4]) -> Self {
        let [a, b, c, d] = data;
        let continuous_supported = u16::from(b & 0x07);
        let continuous_incomplete = u16::from(b >> 4 & 0x07);
        MonitorStatus {
            lamp: a & 0x80 != 0,
            codes: a & 0x7F,
            compression_ignition: b & 0x08 != 0,
            supported: continuous_supported | u16::from(c) << 3,
            incomplete: (continuous_incomplete | u16::from(d) << 3)
                & (continuous_supported | u16::from(c) << 3),
        }
    }

    /// Names of the monitors the module has.
    pub fn supported(&self) -> impl Iterator<Item = &'static str> {
        self.names(self.supported)
    }

    /// Names of those that have not finished since the codes were cleared: they give no verdict yet.
    pub fn incomplete(&self) -> impl Iterator<Item = &'static str> {
        self.names(self.incomplete)
    }

    fn names(&self, bits: u16) -> impl Iterator<Item = &'static str> {
        let rest = if self.compression_ignition { DIESEL } else { PETROL };
        CONTINUOUS
            .into_iter()
            .chain(rest)
            .enumerate()
            .filter(move |(n, _)| bits >> n & 1 == 1)
            .map(|(_, name)| name)
    }
}

/// The trouble codes of an answer to service 03, 07 or 0A, from the byte behind the service number on. The
/// count byte exists on CAN only and is checked against the bytes that follow.
///
/// # Errors
/// The number stated and the number of codes that follow, when they differ.
pub fn codes(answer: &[u8]) -> Result<impl Iterator<Item = u16>, (usize, usize)> {
    let (stated, rest) = answer.split_first().map_or((0, answer), |(n, rest)| (usize::from(*n), rest));
    if rest.len() != stated * 2 {
        return Err((stated, rest.len() / 2));
    }
    Ok(rest.chunks_exact(2).filter_map(|c| match c {
        [0, 0] => None,
        [a, b] => Some(u16::from_be_bytes([*a, *b])),
        _ => None,
    }))
}

/// OBD standard a module was built to (parameter 1C), for the values met on diesel vehicles.
pub fn standard_name(value: u8) -> Option<&'static str> {
    Some(match value {
        0x01 => "OBD II (California)",
        0x02 => "OBD (US EPA)",
        0x03 => "OBD and OBD II",
        0x05 => "not meant to meet any OBD requirement",
        0x06 => "EOBD",
        0x07 => "EOBD and OBD II",
        0x0A => "JOBD",
        0x11 => "engine manufacturer diagnostics",
        0x13 => "heavy-duty OBD, partial",
        0x14 => "heavy-duty OBD",
        0x17 => "heavy-duty Euro OBD stage I, without NOx control",
        0x18 => "heavy-duty Euro OBD stage I, with NOx control",
        0x19 => "heavy-duty Euro OBD stage II, without NOx control",
        0x1A => "heavy-duty Euro OBD stage II, with NOx control",
        _ => return None,
    })
}

/// Fuel a vehicle runs on (parameter 51), for the values that mean diesel and petrol.
pub fn fuel_name(value: u8) -> Option<&'static str> {
    Some(match value {
        0x01 => "petrol",
        0x04 => "diesel",
        0x08 => "electric",
        0x11 => "petrol hybrid",
        0x13 => "diesel hybrid",
        0x17 => "bi-fuel, running on diesel",
        _ => return None,
    })
}

/// In-use counters of a compression-ignition engine (service 09 information type 0B), in their order: pairs of
/// "monitor ran" and "conditions were met".
pub const PERFORMANCE_COUNTERS: [&str; 18] = [
    "OBDCOND",
    "IGNCNTR",
    "HCCATCOMP",
    "HCCATCOND",
    "NCATCOMP",
    "NCATCOND",
    "NADSCOMP",
    "NADSCOND",
    "PMCOMP",
    "PMCOND",
    "EGSCOMP",
    "EGSCOND",
    "EGRCOMP",
    "EGRCOND",
    "BPCOMP",
    "BPCOND",
    "FUELCOMP",
    "FUELCOND",
];

/// What a monitor of service 06 watches, where the sources agree. The particulate filter has none: it stands at B0 in one
/// list (python-OBD) and at B2 from memory of the digital annex.
pub fn monitor_name(monitor: u8) -> Option<&'static str> {
    Some(match monitor {
        0x31..=0x34 => "exhaust gas recirculation",
        0x85 | 0x86 => "boost pressure",
        0x90 | 0x91 => "NOx adsorber",
        0x98 | 0x99 => "NOx catalyst",
        _ => return None,
    })
}

/// Result of an on-board monitor test (service 06): sixteen-bit raw counts with the number of their scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonitorResult {
    /// Monitor.
    pub monitor: u8,
    /// Test.
    pub test: u8,
    /// Unit-and-scaling number.
    pub scaling: u8,
    /// Measured value, lowest and highest allowed value, raw.
    pub raw: [u16; 3],
}

impl MonitorResult {
    /// True if the value lies within its limits. Scalings from 80 hex on are signed.
    pub fn passed(&self) -> bool {
        let [value, low, high] = self.raw;
        if self.scaling >= 0x80 {
            let signed = |n: u16| n as i16;
            (signed(low)..=signed(high)).contains(&signed(value))
        } else {
            (low..=high).contains(&value)
        }
    }

    /// Value and limits in a unit, for the scalings known here (unit-and-scaling table of python-OBD 0.7.3, seen).
    pub fn scaled(&self) -> Option<([f64; 3], &'static str)> {
        let (scale, offset, unit) = match self.scaling {
            0x01 | 0x24 | 0x2B | 0x81 => (1.0, 0.0, "1"),
            0x02 | 0x82 => (0.1, 0.0, "1"),
            0x03 | 0x83 => (0.01, 0.0, "1"),
            0x04 | 0x84 => (0.001, 0.0, "1"),
            0x05 | 0x1E | 0x85 => (3.05e-05, 0.0, "1"),
            0x06 | 0x86 => (0.000_305, 0.0, "1"),
            0x07 => (0.25, 0.0, "rpm"),
            0x08 => (0.01, 0.0, "km/h"),
            0x09 => (1.0, 0.0, "km/h"),
            0x0A | 0x8A => (0.000_122, 0.0, "V"),
            0x0B | 0x8B => (0.001, 0.0, "V"),
            0x0C | 0x8C => (0.01, 0.0, "V"),
            0x0D | 0x8D => (0.003_906_25, 0.0, "mA"),
            0x0E | 0x8E => (0.001, 0.0, "A"),
            0x0F => (0.01, 0.0, "A"),
            0x10 | 0x90 => (0.001, 0.0, "s"),
            0x11 => (0.1, 0.0, "s"),
            0x12 => (1.0, 0.0, "s"),
            0x13 => (0.001, 0.0, "Ohm"),
            0x14 => (1.0, 0.0, "Ohm"),
            0x15 => (1000.0, 0.0, "Ohm"),
            0x16 => (0.1, -40.0, "degC"),
            0x17 | 0xFC => (0.01, 0.0, "kPa"),
            0x18 => (0.0117, 0.0, "kPa"),
            0x19 => (0.079, 0.0, "kPa"),
            0x1A => (1.0, 0.0, "kPa"),
            0x1B => (10.0, 0.0, "kPa"),
            0x1C | 0x9C => (0.01, 0.0, "deg"),
            0x1D | 0x9D => (0.5, 0.0, "deg"),
            0x1F => (0.05, 0.0, "1"),
            0x20 => (0.003_906_25, 0.0, "1"),
            0x21 => (0.001, 0.0, "Hz"),
            0x22 => (1.0, 0.0, "Hz"),
            0x23 => (1000.0, 0.0, "Hz"),
            0x25 => (1.0, 0.0, "km"),
            0x26 => (0.1, 0.0, "V/s"),
            0x27 => (0.01, 0.0, "g/s"),
            0x28 | 0xA8 => (1.0, 0.0, "g/s"),
            0x29 | 0xA9 => (0.25, 0.0, "Pa/s"),
            0x2A => (0.001, 0.0, "kg/h"),
            0x2C | 0x36 => (0.01, 0.0, "g"),
            0x2D | 0xAD => (0.01, 0.0, "mg"),
            0x2F | 0xAF => (0.01, 0.0, "%"),
            0x30 => (0.001_526, 0.0, "%"),
            0x31 => (0.001, 0.0, "L"),
            0x32 => (0.000_774_7, 0.0, "mm"),
            0x33 => (0.000_244_14, 0.0, "1"),
            0x34 => (60.0, 0.0, "s"),
            0x35 => (0.01, 0.0, "s"),
            0x37 => (0.1, 0.0, "g"),
            0x38 => (1.0, 0.0, "g"),
            0x39 => (0.01, -327.68, "%"),
            0x3A => (0.001, 0.0, "g"),
            0x3B => (0.0001, 0.0, "g"),
            0x3C => (1e-07, 0.0, "s"),
            0x3D => (0.01, 0.0, "mA"),
            0x3E => (6.103516e-05, 0.0, "mm2"),
            0x3F => (0.01, 0.0, "L"),
            0x40 | 0x87 => (1.0, 0.0, "ppm"),
            0x41 => (1e-05, 0.0, "mA"),
            0x96 => (0.1, 0.0, "degC"),
            0x99 => (0.1, 0.0, "kPa"),
            0xAE => (0.1, 0.0, "mg"),
            0xB0 => (0.003_052, 0.0, "%"),
            0xB1 => (0.002, 0.0, "V/s"),
            0xFD => (0.001, 0.0, "kPa"),
            0xFE => (0.000_25, 0.0, "kPa"),
            _ => return None,
        };
        let number = |n: u16| if self.scaling >= 0x80 { f64::from(n as i16) } else { f64::from(n) };
        Some((self.raw.map(|n| number(n) * scale + offset), unit))
    }
}

/// The records of an answer to service 06, from the byte behind `46` on. An incomplete record at the end is
/// left out.
pub fn monitor_results(answer: &[u8]) -> impl Iterator<Item = MonitorResult> {
    answer.chunks_exact(9).filter_map(|record| match *record {
        [monitor, test, scaling, a, b, c, d, e, f] => Some(MonitorResult {
            monitor,
            test,
            scaling,
            raw: [u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]), u16::from_be_bytes([e, f])],
        }),
        _ => None,
    })
}
