//! The strains of the brewhouse, invented, with what the fermentation takes from them.

/// One strain. Rates are relative to [`super::yeast`]'s, which hold at 20 C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct YeastStrain {
    /// Its name: a salt-marsh plant.
    pub name: &'static str,
    /// Share of maltotriose that it can take up.
    pub maltotriose_share: f64,
    /// Factor on the rates of uptake.
    pub speed: f64,
    /// Factor on the time to leave the lag.
    pub lag: f64,
    /// Factor on the activation energies: how much warmth matters.
    pub warmth: f64,
    /// Settling once the sugars are low, per h at 20 C.
    pub settling_per_h: f64,
    /// Temperature below which it stops, C.
    pub stop_temp_c: f64,
    pub usual_temp_c: f64,
    /// Lager-like: fermented cool and warmed at the end.
    pub lager: bool,
}

/// All strains, the first `n` of which make a season.
pub(super) const STRAINS: [YeastStrain; 6] = [
    YeastStrain {
        name: "sea-lavender",
        maltotriose_share: 0.88,
        speed: 1.0,
        lag: 1.0,
        warmth: 1.0,
        settling_per_h: 0.016,
        stop_temp_c: 10.0,
        usual_temp_c: 19.0,
        lager: false,
    },
    YeastStrain {
        name: "cordgrass",
        maltotriose_share: 0.93,
        speed: 1.05,
        lag: 0.65,
        warmth: 0.85,
        settling_per_h: 0.018,
        stop_temp_c: 4.0,
        usual_temp_c: 11.0,
        lager: true,
    },
    YeastStrain {
        name: "samphire",
        maltotriose_share: 0.40,
        speed: 1.05,
        lag: 0.85,
        warmth: 1.1,
        settling_per_h: 0.040,
        stop_temp_c: 12.5,
        usual_temp_c: 19.5,
        lager: false,
    },
    YeastStrain {
        name: "thrift",
        maltotriose_share: 1.0,
        speed: 0.95,
        lag: 1.15,
        warmth: 1.25,
        settling_per_h: 0.008,
        stop_temp_c: 12.0,
        usual_temp_c: 23.0,
        lager: false,
    },
    YeastStrain {
        name: "sea-aster",
        maltotriose_share: 0.72,
        speed: 1.15,
        lag: 0.75,
        warmth: 1.05,
        settling_per_h: 0.026,
        stop_temp_c: 11.0,
        usual_temp_c: 21.0,
        lager: false,
    },
    YeastStrain {
        name: "sea-blite",
        maltotriose_share: 0.75,
        speed: 0.88,
        lag: 0.60,
        warmth: 0.95,
        settling_per_h: 0.017,
        stop_temp_c: 5.0,
        usual_temp_c: 13.5,
        lager: true,
    },
];
