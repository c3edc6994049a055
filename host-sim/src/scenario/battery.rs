//! `[battery]`: the cells of a wireless probe, and the run they must last.
//!
//! What feeds on them is the infrared head of [`packs`](crate::study::packs), from memory; its currents have no keys.

use trueonset::battery::{BatteryConfigError, Chemistry};

use super::kind::Value;
use super::tables::Tables;
use crate::fault::{Fault, Place};
use crate::study::packs::Case;

impl Case {
    /// The cells that `tables` state, new ones, asked about one run; none without a table `[battery]`.
    ///
    /// # Errors
    /// Cells that cannot feed the head at this temperature; with the key to change.
    pub fn in_scenario(tables: &Tables) -> Result<Option<Self>, Fault> {
        if !tables.has("battery") {
            return Ok(None);
        }
        let chemistry = match tables.stated("battery.chemistry") {
            Some(Value::Word("lithium")) => Chemistry::LithiumManganese,
            Some(Value::Word("lithium_iron")) => Chemistry::LithiumIron,
            Some(Value::Word("nimh")) => Chemistry::Nimh,
            Some(Value::Word("thionyl")) => Chemistry::LithiumThionyl,
            _ => Chemistry::Alkaline,
        };
        // Whole degrees, the colder one; the ranges of the keys keep all of these small.
        let celsius = (tables.si("battery.temperature") + 1e-6).floor() as i16;
        let run_s = tables.si("battery.run").ceil() as u32;
        let case = Self {
            cells: tables.si("battery.cells") as u8,
            runs_s: [run_s; 2],
            ..Self::of(chemistry, celsius)
        };
        case.config()
            .map_err(|why| refused(&case, tables, why))
            .map(|_| Some(case))
    }
}

/// Cells that the core refuses though a scenario was checked before.
pub(crate) fn unfit(why: BatteryConfigError) -> Fault {
    Fault::new(why.to_string(), "cells the core takes", "change [battery]")
}

fn refused(case: &Case, tables: &Tables, why: BatteryConfigError) -> Fault {
    let found = format!("{} in series at {}C", case.cells, case.celsius);
    let (least, most) = case.chemistry.between_decicelsius();
    let (key, expected, remedy) = match why {
        BatteryConfigError::Temperature => (
            "battery.temperature",
            why.to_string(),
            format!("state {}C to {}C", (least + 9) / 10, most / 10),
        ),
        BatteryConfigError::Stop => (
            "battery.cells",
            "full cells that keep the electronics going under a pulse".to_owned(),
            "state more cells, or warmer ones".to_owned(),
        ),
        _ => ("battery.cells", why.to_string(), "state 1 to 16".to_owned()),
    };
    Fault::new(found, expected, remedy).at(Place::Setting(format!("{}: {key}", tables.source())))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Result<Option<Case>, Fault> {
        Case::in_scenario(&Tables::parse(text, "s.toml")?)
    }

    #[test]
    fn stated_cells_are_taken_and_impossible_ones_named() {
        assert!(of("[link]\n").unwrap().is_none());
        let plain = of("[battery]\n").unwrap().unwrap();
        assert_eq!((plain.cells, plain.celsius), (2, 20));
        assert_eq!(plain.runs_s, [28_800; 2]);
        let text = "[battery]\nchemistry = \"lithium\"\ncells = 1\nrun = \"90min\"\ntemperature = \"5.5C\"\n";
        let one = of(text).unwrap().unwrap();
        assert_eq!(one.chemistry, Chemistry::LithiumManganese);
        assert_eq!((one.cells, one.celsius, one.runs_s[0]), (1, 5, 5_400));
        for (text, key) in [
            ("[battery]\ncells = 1\n", "battery.cells"),
            ("[battery]\ncells = 17\n", "battery.cells"),
            ("[battery]\ntemperature = \"85C\"\n", "battery.temperature"),
            ("[battery]\ntemperature = \"-40C\"\n", "battery.temperature"),
        ] {
            let why = of(text).unwrap_err().to_string();
            assert!(why.starts_with(&format!("s.toml: {key}")), "{why}");
        }
    }
}
