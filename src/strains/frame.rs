//! The tables of strains, and how they print.

use std::fmt;

use crate::fit::Estimate;
use crate::kinetics::Trait;

use super::result::{StrainContrast, StrainMean, Strains};
use super::stuck::{StuckContrast, StuckShare};

/// Name of the trait "share of stuck batches" in the tables.
const STUCK: &str = "stuck_share";

impl Strains {
    fn means_and_shares(&self) -> impl Iterator<Item = Result<&StrainMean, &StuckShare>> {
        self.means.iter().map(Ok).chain(self.stuck.iter().map(Err))
    }

    fn all_contrasts(&self) -> impl Iterator<Item = Result<&StrainContrast, &StuckContrast>> {
        self.contrasts.iter().map(Ok).chain(self.stuck_contrasts.iter().map(Err))
    }
}

tables! {
    impl Strains {
        /// The table `strains`: one row per strain and trait, then the shares of stuck batches.
        #[doc = example!(study "let table = study.strains()?.to_frame()?;")]
        fn to_frame(self) = "strains", |row| self.means_and_shares() => {
            "strain": row.map_or_else(|stuck| &stuck.strain, |mean| &mean.strain),
            "trait": row.map_or(STUCK, |mean| mean.which.name()),
            "unit": row.map_or("fraction", |mean| mean.which.unit()),
            "n": row.map_or_else(|stuck| stuck.n, |mean| mean.n),
            ["estimate", "se", "lower", "upper", "level"]: estimate(*row).map(Estimate::numbers),
            "df": row.ok()?.df,
            "method": Some(&estimate(*row)?.method),
            "raw_mean": row.ok()?.raw,
            ["pooled", "pooled_se"]: row.ok()?.pooled.numbers(),
            "p_highest": row.ok()?.p_highest,
            "p_lowest": row.ok()?.p_lowest,
            "conditions": Some(&self.how(row.ok()?.which)?.conditions),
            "left_out": match row {
                Ok(mean) => mean.left_out.clone(),
                Err(StuckShare { unfinished: 0, .. }) => String::new(),
                Err(stuck) => format!("{} not at rest", stuck.unfinished),
            },
            "why": match row {
                Ok(mean) => mean.mean.why(),
                Err(stuck) => (stuck.n == 0).then_some("no batch came to rest"),
            },
        }

        /// The table `strain_contrasts`: one row per pair and trait, then those of the shares of stuck batches.
        #[doc = example!(study "let table = study.strains()?.contrasts_frame()?;")]
        fn contrasts_frame(self) = "strain_contrasts", |row| self.all_contrasts() => {
            "trait": row.map_or(STUCK, |pair| pair.which.name()),
            "unit": row.map_or("fraction", |pair| pair.which.difference_unit()),
            "a": row.map_or_else(|stuck| &stuck.a, |pair| &pair.a),
            "b": row.map_or_else(|stuck| &stuck.b, |pair| &pair.b),
            ["difference", "se", "lower", "upper", "level"]: difference(*row).map(Estimate::numbers),
            "method": Some(&difference(*row)?.method),
            "p_adjusted": row.map_or_else(|stuck| Some(stuck.p_adjusted), |pair| pair.p_adjusted),
            "p_error": self.how(row.ok()?.which)?.numerical_error.filter(|_| row.is_ok_and(|pair| pair.p_adjusted.is_some())),
            "p_holm": row.map_or_else(|stuck| Some(stuck.p_holm), |pair| pair.p_holm),
            "ratio": Some(row.ok()?.ratio.as_ref()?.value),
            "ratio_lower": Some(row.ok()?.ratio.as_ref()?.lower),
            "ratio_upper": Some(row.ok()?.ratio.as_ref()?.upper),
            "margin": Some(row.ok()?.margin),
            "p_equivalent": row.ok()?.p_equivalent,
            "verdict": row.ok()?.verdict,
            "house_lower": Some(row.ok()?.house.as_ref()?.difference.lower),
            "house_upper": Some(row.ok()?.house.as_ref()?.difference.upper),
            "p_house": Some(row.ok()?.house.as_ref()?.p),
            "why": row.ok()?.difference.why(),
        }

        /// The table `strain_repeatability`: how far batches spread, by trait for all strains (`strain` empty) and by strain.
        fn repeatability_frame(self) = "strain_repeatability", |row| &self.spreads => {
            "trait": row.which.name(),
            "strain": row.strain.as_ref(),
            "n": row.n,
            ["sd", "se", "lower", "upper", "level"]: row.sd.numbers(),
            "method": row.sd.estimate().map(|e| &e.method),
            "relative": row.relative,
            "p_equal": self.how(row.which)?.p_equal_spread.filter(|_| row.strain.is_none()),
            "why": row.sd.why(),
        }

        /// The table `strain_ranking`: the strains by the weights of the settings, the best first; no rows without weights.
        fn ranking_frame(self) = "strain_ranking", |row| &self.ranking => {
            "strain": &row.strain,
            ["points", "se", "lower", "upper", "level"]: row.points.numbers(),
            "p_first": row.p_place.first().copied(),
            "place_lower": row.places().map(|(first, _)| first),
            "place_upper": row.places().map(|(_, last)| last),
            "why": row.points.why(),
        }

        /// The table `strain_power`: the pairs that are open, and how many batches would settle them.
        fn power_frame(self) = "strain_power", |row| self.open() => {
            "trait": row.which.name(),
            "a": &row.a,
            "b": &row.b,
            "n_a": row.n.0,
            "n_b": row.n.1,
            "difference": row.margin,
            "power_now": row.power.map(|power| power.now),
            "more_of_each": row.power?.more_of_each,
        }
    }
}

fn estimate<'a>(row: Result<&'a StrainMean, &'a StuckShare>) -> Option<&'a Estimate> {
    row.map_or_else(|stuck| stuck.share.as_ref(), |mean| mean.mean.estimate())
}

fn difference<'a>(row: Result<&'a StrainContrast, &'a StuckContrast>) -> Option<&'a Estimate> {
    row.map_or_else(|stuck| Some(&stuck.difference), |pair| pair.difference.estimate())
}

impl fmt::Display for Strains {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.means.iter().map(|mean| mean.strain.len()).max().unwrap_or(0);
        for how in &self.traits {
            writeln!(f, "{}, {}", how.which, how.conditions)?;
            for row in self.means.iter().filter(|mean| mean.which == how.which) {
                writeln!(f, "  {:width$}  {} batches: {}", row.strain, row.n, row.mean)?;
            }
        }
        let all: Vec<Trait> = self.traits.iter().map(|how| how.which).collect();
        self.sentences(&all).iter().try_for_each(|sentence| writeln!(f, "{sentence}"))
    }
}
