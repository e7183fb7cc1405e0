//! Settings that several studies share, and that are set once for all of them.

settings! {
    /// What every study's settings hold in their field `common`. `study::Settings` fills it in one place; a study that runs by
    /// itself takes it as it stands.
    #[derive(Copy)]
    pub struct CommonSettings {
        /// Level of all intervals.
        level: f64 = 0.90, 0.5..=0.9999, "0.5 to 0.9999";
        /// How far above the gravity that its wort allows a batch at rest counts as stuck, SG.
        stuck_above_limit_sg: f64 = 0.003, 0.0..=0.05, "0 to 0.05 SG";
        /// When a batch is at rest.
        at_rest: AtRest = AtRest::default();
        /// By how much instruments may be wrong.
        instruments: InstrumentErrors = InstrumentErrors::default();
        /// How temperature acts on the pace of a fermentation.
        activation: ActivationEnergy = ActivationEnergy::default();
    }
    also |common| {
        common.at_rest.check()?;
        common.instruments.check()?;
        common.activation.check()
    }
}

settings! {
    in "at_rest."
    /// When a batch is at rest.
    #[derive(Copy)]
    pub struct AtRest {
        /// Distance from terminal gravity within which a batch is at rest, SG.
        within_sg: f64 = 0.001, 1e-4..=0.02, "0.0001 to 0.02 SG";
        /// Hours of data after the batch came to rest from which on the backtest counts the rest as observed.
        seen_for_h: f64 = 24.0, 0.0..=1000.0, "0 to 1000 hours";
    }
}

settings! {
    in "instruments."
    /// Errors that all values of one instrument have in common, so that no number of values averages them out. Assumed; no
    /// reference.
    #[derive(Copy)]
    pub struct InstrumentErrors {
        /// Standard deviation of the bias of a hydrometer, SG.
        hydrometer_bias_sg: f64 = 0.0007, 0.0..=0.1, "0 to 0.1 SG";
        /// Standard deviation of the bias of a refractometer, SG.
        refractometer_bias_sg: f64 = 0.001, 0.0..=0.1, "0 to 0.1 SG";
        /// Standard deviation of a probe's mass on the balance, g.
        mass_sd_g: f64 = 0.1, 1e-6..=100.0, "above 0, to 100 g";
        /// Standard deviation of a probe's diameter by calliper, mm.
        diameter_sd_mm: f64 = 0.1, 1e-6..=10.0, "above 0, to 10 mm";
    }
}

settings! {
    in "activation."
    /// Activation energy E of the pace of a fermentation, which goes by Arrhenius' law as `exp(-E/(R T))`.
    #[derive(Copy)]
    pub struct ActivationEnergy {
        /// Its value, kJ/mol.
        kj_mol: f64 = Self::PUBLISHED.kj_mol, 0.0..=200.0, "0 to 200 kJ/mol";
        /// Its standard deviation, kJ/mol.
        sd_kj_mol: f64 = Self::PUBLISHED.sd_kj_mol, 0.0..=100.0, "0 to 100 kJ/mol";
    }
}

impl ActivationEnergy {
    /// 52.4 is derived from the time of the middle of the drop between 10 and 15 C in the model of de
    /// Andres-Toro et al. (1998, Math. Comput. Simul. 48, 65), a Q10 of 2.16; the spread covers those of the uptake of
    /// maltotriose, maltose and glucose in Gee and Ramirez (1994, J. Inst. Brew. 100, 321): 30, 47 and 95.
    pub const PUBLISHED: Self = Self { kj_mol: 52.4, sd_kj_mol: 15.0 };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_allowed_and_a_slip_is_named() {
        assert!(CommonSettings::default().check().is_ok());
        for level in [0.0, 1.0, 90.0, f64::NAN] {
            let error = CommonSettings { level, ..Default::default() }.check().unwrap_err();
            assert!(error.to_string().contains("level"), "{error}");
        }
        assert_eq!(
            CommonSettings { level: 90.0, ..Default::default() }.check().unwrap_err().to_string(),
            "setting `level` is 90; wanted 0.5 to 0.9999"
        );
    }
}
