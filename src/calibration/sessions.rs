//! Sessions: baths of one probe that belong together, and whether they define a curve.

use crate::season::{Pair, Reference, ReferenceUse, Season};
use crate::units::Instant;

use super::CalibrationSettings;
use super::errors::is_tap_water;
use super::noise::Noise;
use super::steady_tilt::steady_tilt;

/// Baths whose SG differs by no more than this are one gravity; a bath this near to 1 is water.
const SAME_SG: f64 = 0.0005;
/// Gravities besides water that a calibration needs.
const OTHER_GRAVITIES: usize = 3;

/// One immersion of a probe in a bath.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Immersion {
    pub reference: usize,
    pub at: Instant,
    pub bath: Option<String>,
    pub water: bool,
    pub sg: f64,
    pub sg_sd: f64,
    pub temp_c: f64,
    pub tilt_deg: f64,
    pub tilt_sd_deg: f64,
    pub use_as: Option<ReferenceUse>,
}

/// Baths of one probe, each less than the session gap from the next, in order of time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BathSession {
    pub probe: String,
    pub immersions: Vec<Immersion>,
}

/// What a session may do.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Role {
    /// These immersions (indices) define a curve.
    Defines(Vec<usize>),
    /// It is a check, because.
    Check(String),
}

/// The sessions of one probe, from its pairs.
pub(crate) fn sessions_of(
    season: &Season,
    probe: &str,
    pairs: &[Pair],
    noise: Option<Noise>,
    settings: &CalibrationSettings,
) -> Vec<BathSession> {
    let mut immersions: Vec<Immersion> = pairs
        .iter()
        .filter(|pair| pair.probe == probe)
        .filter_map(|pair| Some((pair, season.references.get(pair.reference)?)))
        .filter(|(_, reference)| !reference.is_sample())
        .filter_map(|(pair, reference)| immersion(season, pair, reference, noise, settings))
        .collect();
    immersions.sort_by_key(|immersion| immersion.at);
    let mut sessions: Vec<BathSession> = Vec::new();
    for immersion in immersions {
        let joins = sessions
            .last()
            .and_then(|session| session.immersions.last())
            .is_some_and(|last| immersion.at.hours_since(last.at) < settings.session_gap_h);
        match sessions.last_mut() {
            Some(session) if joins => session.immersions.push(immersion),
            _ => sessions.push(BathSession { probe: probe.to_owned(), immersions: vec![immersion] }),
        }
    }
    sessions
}

/// The immersion of a pair; none when its readings are all unusable.
pub(crate) fn immersion(
    season: &Season,
    pair: &Pair,
    reference: &Reference,
    noise: Option<Noise>,
    settings: &CalibrationSettings,
) -> Option<Immersion> {
    let usual = noise.unwrap_or(Noise { sd_deg: settings.tilt_sd_deg, rho: 0.0, blocks: 0 });
    let steady = steady_tilt(season, &pair.rows, reference.at, usual);
    let (tilt_deg, tilt_sd_deg) = match (pair.own_tilt_deg, steady) {
        (Some(tilt), _) => (tilt, reference.tilt_sd_deg.filter(|sd| *sd > 0.0).unwrap_or(settings.tilt_sd_deg)),
        (_, Some(steady)) => (steady.tilt_deg, steady.se_deg.hypot(settings.tilt_sd_deg)),
        _ => return None,
    };
    let logged = steady.map(|steady| steady.temp_c).filter(|temp| temp.is_finite());
    let bath = reference.bath.clone();
    Some(Immersion {
        reference: pair.reference,
        at: reference.at,
        water: is_water(reference),
        bath,
        sg: reference.sg,
        sg_sd: reference.sd(),
        temp_c: reference.temp_c.or(logged).unwrap_or(settings.bath_temp_c),
        tilt_deg,
        tilt_sd_deg,
        use_as: reference.use_as,
    })
}

/// Water by its method or by its gravity.
pub(crate) fn is_water(reference: &Reference) -> bool {
    reference.method.as_deref() == Some("water") || is_tap_water(reference) || (reference.sg - 1.0).abs() <= SAME_SG
}

impl BathSession {
    /// The time of its last bath.
    pub fn ended(&self) -> Option<Instant> {
        self.immersions.last().map(|immersion| immersion.at)
    }

    /// Whether it defines a curve: with water and at least three other gravities it does; a bath marked `calibrate` or
    /// `both` makes it do so whatever it holds, one marked `check` is left out of the curve.
    pub fn role(&self) -> Role {
        let used: Vec<usize> = (0..self.immersions.len())
            .filter(|&i| self.immersions.get(i).is_some_and(|b| b.use_as != Some(ReferenceUse::Check)))
            .collect();
        let baths: Vec<&Immersion> = used.iter().filter_map(|&i| self.immersions.get(i)).collect();
        if baths.is_empty() {
            return Role::Check("all its baths are marked as checks".into());
        }
        let asked = baths.iter().any(|b| matches!(b.use_as, Some(ReferenceUse::Calibrate | ReferenceUse::Both)));
        let water = baths.iter().any(|b| b.water);
        let others = distinct(baths.iter().filter(|b| !b.water).map(|b| b.sg));
        if asked || (water && others >= OTHER_GRAVITIES) {
            return Role::Defines(used);
        }
        let water = if water { "water" } else { "no water" };
        let gravities = match others {
            0 => "no other gravity".to_owned(),
            1 => "1 other gravity".to_owned(),
            n => format!("{n} other gravities"),
        };
        Role::Check(format!("{water} and {gravities}; a calibration needs water and {OTHER_GRAVITIES}"))
    }
}

/// How many gravities are apart by more than [`SAME_SG`].
fn distinct(sgs: impl Iterator<Item = f64>) -> usize {
    let mut sorted: Vec<f64> = sgs.collect();
    sorted.sort_by(f64::total_cmp);
    let mut count = 0;
    let mut last = f64::NEG_INFINITY;
    for sg in sorted {
        if sg - last > SAME_SG {
            count += 1;
            last = sg;
        }
    }
    count
}

/// Immersions in the same bath, as lists of indices into `immersions`: the same name, or no name and the same gravity.
pub(crate) fn replicates(immersions: &[&Immersion]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (i, immersion) in immersions.iter().enumerate() {
        let same = |other: &Immersion| match (&immersion.bath, &other.bath) {
            (Some(a), Some(b)) => a == b,
            (None, None) => (immersion.sg - other.sg).abs() <= SAME_SG,
            _ => false,
        };
        let home = groups
            .iter_mut()
            .find(|group| group.first().and_then(|&first| immersions.get(first)).is_some_and(|first| same(first)));
        match home {
            Some(group) => group.push(i),
            None => groups.push(vec![i]),
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bath(hours: f64, sg: f64, use_as: Option<ReferenceUse>) -> Immersion {
        Immersion {
            reference: 0,
            at: Instant::from_micros(0).plus_hours(hours),
            bath: None,
            water: (sg - 1.0).abs() < 1e-9,
            sg,
            sg_sd: 0.0005,
            temp_c: 20.0,
            tilt_deg: 25.0 + 500.0 * (sg - 1.0),
            tilt_sd_deg: 0.2,
            use_as,
        }
    }

    fn role(baths: Vec<Immersion>) -> Role {
        BathSession { probe: "knot".into(), immersions: baths }.role()
    }

    #[test]
    fn water_and_three_others_define_and_less_is_a_check() {
        let sgs = [1.0, 1.02, 1.04, 1.06];
        let all: Vec<Immersion> = sgs.iter().map(|&sg| bath(0.0, sg, None)).collect();
        assert_eq!(role(all.clone()), Role::Defines(vec![0, 1, 2, 3]));
        let message = role(all[..3].to_vec());
        assert_eq!(message, Role::Check("water and 2 other gravities; a calibration needs water and 3".into()));
        assert!(matches!(role(all[1..].to_vec()), Role::Check(_)));
    }

    #[test]
    fn one_gravity_four_times_is_one_gravity() {
        let mut baths: Vec<Immersion> = (0..4).map(|i| bath(0.0, 1.04 + 0.0001 * f64::from(i), None)).collect();
        baths.push(bath(0.0, 1.0, None));
        assert!(matches!(role(baths), Role::Check(_)));
    }

    #[test]
    fn use_overrides_both_ways() {
        let forced = vec![bath(0.0, 1.02, Some(ReferenceUse::Calibrate)), bath(1.0, 1.05, None)];
        assert_eq!(role(forced), Role::Defines(vec![0, 1]));
        let checks = [1.0, 1.02, 1.04, 1.06].map(|sg| bath(0.0, sg, Some(ReferenceUse::Check))).to_vec();
        assert!(matches!(role(checks), Role::Check(_)));
    }

    #[test]
    fn baths_without_a_name_are_replicates_by_gravity() {
        let baths = [bath(0.0, 1.0, None), bath(1.0, 1.02, None), bath(2.0, 1.0, None)];
        assert_eq!(replicates(&baths.iter().collect::<Vec<_>>()), vec![vec![0, 2], vec![1]]);
    }
}
