//! What cells are made of, as tables: voltage by charge, its error, resistance, temperatures.
//!
//! Nominal and highest voltages are those of IEC 60086-1, table 3, for letters C, E and F; for
//! alkaline (L) from memory. All else is typical and from memory: a wrong table is not covered by
//! any bound stated in this room.

/// What a cell is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Chemistry {
    /// Lithium and manganese dioxide, IEC letter C.
    LithiumManganese,
    /// Lithium and iron disulfide, IEC letter F.
    LithiumIron,
    /// Nickel and metal hydride; "new" means freshly charged.
    Nimh,
    /// Zinc and manganese dioxide in alkali, IEC letter L.
    Alkaline,
    /// Lithium and thionyl chloride, IEC letter E.
    LithiumThionyl,
}

/// Full charge, in the steps of a share: 0.01 %.
pub const FULL_SHARE: u32 = 10_000;
/// Temperature at which resistances are stated, 0.1 °C.
pub(crate) const REFERENCE_DECICELSIUS: i16 = 220;

/// One cell; voltages in mV at rest and about 22 °C.
struct Table {
    nominal: u16,
    highest: u16,
    /// Half width of what parts and lots differ by, three standard deviations.
    error: u16,
    /// Share of the charge left (0.01 %), mV; both rise.
    points: &'static [(u16, u16)],
    /// Of a cell of the size common in probes, new, at 22 °C.
    milliohms: u32,
    /// What the resistance gains from full to empty, %.
    worn_percent: u32,
    /// What it gains for each kelvin below 22 °C, ‰.
    cold_permille: u32,
    /// Coldest and warmest for which the table holds, 0.1 °C.
    between: (i16, i16),
    /// A layer grows at rest, which sags the first pulses.
    passivates: bool,
    /// Charge leaks too fast at rest for a counter to vouch for what is left.
    leaks: bool,
}

static LITHIUM_MANGANESE: Table = Table {
    nominal: 3_000,
    highest: 3_700,
    error: 30,
    points: &[
        (0, 2_000),
        (200, 2_300),
        (500, 2_500),
        (1_000, 2_650),
        (2_000, 2_780),
        (3_000, 2_860),
        (5_000, 2_950),
        (7_000, 3_010),
        (9_000, 3_100),
        (10_000, 3_200),
    ],
    milliohms: 500,
    worn_percent: 100,
    cold_permille: 20,
    between: (-200, 600),
    passivates: false,
    leaks: false,
};

static LITHIUM_IRON: Table = Table {
    nominal: 1_500,
    highest: 1_830,
    error: 15,
    points: &[
        (0, 900),
        (150, 1_200),
        (400, 1_400),
        (800, 1_530),
        (1_500, 1_600),
        (3_000, 1_650),
        (5_000, 1_680),
        (8_000, 1_705),
        (9_500, 1_740),
        (10_000, 1_780),
    ],
    milliohms: 150,
    worn_percent: 100,
    cold_permille: 20,
    between: (-400, 600),
    passivates: false,
    leaks: false,
};

static NIMH: Table = Table {
    nominal: 1_200,
    highest: 1_500,
    error: 15,
    points: &[
        (0, 900),
        (200, 1_080),
        (500, 1_150),
        (1_000, 1_200),
        (2_000, 1_240),
        (4_000, 1_270),
        (7_000, 1_300),
        (9_000, 1_340),
        (10_000, 1_400),
    ],
    milliohms: 60,
    worn_percent: 100,
    cold_permille: 20,
    between: (-100, 500),
    passivates: false,
    leaks: true,
};

static ALKALINE: Table = Table {
    nominal: 1_500,
    highest: 1_650,
    error: 30,
    points: &[
        (0, 850),
        (300, 1_020),
        (700, 1_120),
        (1_500, 1_200),
        (3_000, 1_255),
        (5_000, 1_320),
        (7_000, 1_400),
        (9_000, 1_500),
        (10_000, 1_600),
    ],
    milliohms: 200,
    worn_percent: 200,
    cold_permille: 40,
    between: (-100, 500),
    passivates: false,
    leaks: false,
};

static LITHIUM_THIONYL: Table = Table {
    nominal: 3_600,
    highest: 3_900,
    error: 20,
    points: &[
        (0, 2_000),
        (200, 3_000),
        (500, 3_400),
        (1_000, 3_560),
        (2_000, 3_620),
        (5_000, 3_645),
        (9_000, 3_660),
        (10_000, 3_670),
    ],
    milliohms: 8_000,
    worn_percent: 150,
    cold_permille: 40,
    between: (-400, 850),
    passivates: true,
    leaks: false,
};

impl Chemistry {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::LithiumManganese,
        Self::LithiumIron,
        Self::Nimh,
        Self::Alkaline,
        Self::LithiumThionyl,
    ];

    const fn table(self) -> &'static Table {
        match self {
            Self::LithiumManganese => &LITHIUM_MANGANESE,
            Self::LithiumIron => &LITHIUM_IRON,
            Self::Nimh => &NIMH,
            Self::Alkaline => &ALKALINE,
            Self::LithiumThionyl => &LITHIUM_THIONYL,
        }
    }

    /// Nominal voltage of a cell, mV.
    #[must_use]
    pub const fn nominal_mv(self) -> u16 {
        self.table().nominal
    }

    /// Highest voltage of a cell without load, mV.
    #[must_use]
    pub const fn highest_mv(self) -> u16 {
        self.table().highest
    }

    /// How far the voltage of a cell may be from the table, mV: three standard deviations.
    #[must_use]
    pub const fn error_mv(self) -> u16 {
        self.table().error
    }

    /// Typical resistance of a new cell at 22 °C, mΩ; of sizes as probes have them.
    #[must_use]
    pub const fn typical_milliohms(self) -> u32 {
        self.table().milliohms
    }

    /// Coldest and warmest cells that the table holds for, 0.1 °C.
    #[must_use]
    pub const fn between_decicelsius(self) -> (i16, i16) {
        self.table().between
    }

    /// Whether the first pulses after a rest sag by a layer that has grown.
    #[must_use]
    pub const fn passivates(self) -> bool {
        self.table().passivates
    }

    /// Whether it loses charge at rest faster than counting can vouch for.
    #[must_use]
    pub const fn leaks(self) -> bool {
        self.table().leaks
    }

    /// Voltage of a cell at rest, mV, with `share` (0.01 %) of its charge left.
    #[must_use]
    pub const fn open_mv(self, share: u32) -> u32 {
        let mut points = self.table().points;
        let mut below = (0, 0);
        while let [(at, mv), more @ ..] = points {
            let point = (*at as u32, *mv as u32);
            if share <= point.0 {
                return between(share, below, point);
            }
            below = point;
            points = more;
        }
        below.1
    }

    /// Share of the charge (0.01 %) that `cells` of it in series have left which rest at `mv`
    /// together; 0 below the table, full above it.
    #[must_use]
    pub fn share_left(self, mv: u32, cells: u8) -> u32 {
        let cells = u32::from(cells);
        let mut below = None;
        for &(share, each) in self.table().points {
            let point = (u32::from(each) * cells, u32::from(share));
            if mv <= point.0 {
                return below.map_or(0, |below| between(mv, below, point));
            }
            below = Some(point);
        }
        FULL_SHARE
    }

    /// Resistance with `share` of the charge left against that of a full cell, ‰.
    #[must_use]
    pub const fn worn_permille(self, share: u32) -> u32 {
        let gone = FULL_SHARE.saturating_sub(share);
        1_000 + self.table().worn_percent * gone / (FULL_SHARE / 10)
    }

    /// Resistance at a temperature (0.1 °C) against that at 22 °C, ‰; no gain by warmth is counted.
    #[must_use]
    pub const fn cold_permille(self, decicelsius: i16) -> u32 {
        let below = REFERENCE_DECICELSIUS as i32 - decicelsius as i32;
        let gained = if below > 0 { below.unsigned_abs() } else { 0 };
        1_000 + self.table().cold_permille * gained / 10
    }
}

/// Where `x` falls on the line from one point to the next, which lies right of it or upon it.
const fn between(x: u32, (x0, y0): (u32, u32), (x1, y1): (u32, u32)) -> u32 {
    let rise = x.saturating_sub(x0) as u64 * y1.saturating_sub(y0) as u64;
    match rise.checked_div(x1.saturating_sub(x0) as u64) {
        Some(part) => y0.saturating_add(part as u32),
        None => y1,
    }
}
