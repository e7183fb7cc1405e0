//! Batches of which only strain, conditions and traits are known.

use heelwort::fit::{Estimate, Finding};
use heelwort::kinetics::{AtReference, BatchFit, Kinetics, Status, Trait};
use heelwort::season::{Batch, Season};
use heelwort::units::Instant;

/// One batch as the comparison sees it.
#[derive(Clone)]
pub struct Brewed {
    pub row: Batch,
    /// Traits with their standard errors.
    pub traits: Vec<(Trait, f64, f64)>,
    pub status: Status,
    pub p_stuck: Option<f64>,
}

impl Brewed {
    /// A batch of a strain of which only these traits are known.
    pub fn new(index: usize, strain: &str, traits: &[(Trait, f64, f64)]) -> Self {
        let at = Instant::parse("2031-03-01T12:00:00Z").unwrap();
        let row = Batch::new(format!("b-{index:03}"), strain, at);
        Self { row, traits: traits.to_vec(), status: Status::Finished, p_stuck: None }
    }

    fn fit(&self) -> BatchFit {
        let none = || Finding::missing("not at rest");
        let mut traits = Trait::ALL.map(|_| none());
        for (which, value, se) in &self.traits {
            traits[*which as usize] = Finding::Estimated(Estimate::normal(*value, *se, 0.9, "made").unwrap());
        }
        BatchFit {
            batch: self.row.batch.clone(),
            strain: self.row.strain.clone(),
            pitched_at: self.row.pitched_at,
            fitted: None,
            traits,
            at_reference: AtReference { lag_h: none(), mid_h: none(), max_rate_sg_per_day: none() },
            status: self.status,
            status_probability: none(),
            status_since_h: None,
            progress: none(),
            n: 0,
            whiteness: None,
            foam_sg: none(),
            rmse_sg: None,
            offsets: Vec::new(),
            steps: Vec::new(),
            points: Vec::new(),
            residuals_sg: Vec::new(),
            innovations: Vec::new(),
            flags: Vec::new(),
            last_hours: 0.0,
            cooled_hours: None,
            left_open: false,
            ended_hours: None,
            limit_sg: None,
            p_stuck: self.p_stuck,
            why: String::new(),
        }
    }
}

/// A season of such batches, and their fits.
pub fn season(batches: &[Brewed]) -> (Season, Kinetics) {
    let rows = batches.iter().map(|batch| batch.row.clone()).collect();
    let fits = batches.iter().map(Brewed::fit).collect();
    (Season { batches: rows, ..Season::default() }, Kinetics { batches: fits, ..Kinetics::default() })
}
