//! What befalls a probe in a batch for some hours.

use super::ageing::ProbeChange;
use super::calendar::Planned;
use super::regime::RegimeChange;
use super::settings::SimulateSettings;
use super::stream::Stream;
use super::trouble::Trouble;

/// What befalls a probe in a batch for some hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Episode {
    pub trouble: Trouble,
    pub from_h: f64,
    pub to_h: f64,
    /// In the unit of its kind: g, degrees, mL or g.
    size: f64,
}

/// What episodes do to a probe at a moment.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct EpisodeLoad {
    pub foam_g: f64,
    pub lean_deg: f64,
    pub gas_ml: f64,
    pub change: ProbeChange,
}

/// The episodes of a probe in a batch of which data reach to `until_h`.
pub(super) fn episodes(settings: &SimulateSettings, batch: &Planned, probe: usize, until_h: f64) -> Vec<Episode> {
    let mut found = Vec::new();
    for &trouble in &settings.troubles {
        let mut draw = Stream::new(settings.seed, &format!("{trouble} in {}", batch.id), probe);
        let mid_h = batch.traits.mid_h;
        let episode = match trouble {
            Trouble::FoamLoad if draw.chance(0.33) => {
                let from_h = mid_h * draw.uniform(0.4, 1.3);
                Episode { trouble, from_h, to_h: from_h + draw.uniform(6.0, 30.0), size: draw.uniform(0.4, 2.5) }
            }
            Trouble::FoamCrust if draw.chance(0.25) => {
                let from_h = mid_h * draw.uniform(0.4, 1.1);
                let turn = draw.uniform(1.5, 5.0) * if draw.chance(0.7) { -1.0 } else { 1.0 };
                Episode { trouble, from_h, to_h: from_h + draw.uniform(8.0, 40.0), size: turn }
            }
            Trouble::Leaning if draw.chance(0.15) => {
                let from_h = until_h * draw.uniform(0.05, 0.9);
                let push = draw.uniform(1.0, 6.0) * if draw.chance(0.7) { 1.0 } else { -1.0 };
                let for_h = draw.uniform(3.0, 30.0);
                let from_h = if draw.chance(0.25) { (until_h - for_h).max(from_h) } else { from_h };
                Episode { trouble, from_h, to_h: from_h + for_h, size: push }
            }
            Trouble::BubblePatch if draw.chance(0.2) => {
                let from_h = mid_h * draw.uniform(0.5, 2.0);
                Episode { trouble, from_h, to_h: from_h + draw.uniform(1.0, 10.0), size: draw.uniform(0.1, 0.5) }
            }
            Trouble::HopMatter => {
                let hopped = batch.real.made.iter().find(|made| matches!(made.change, RegimeChange::DryHop(_)));
                let Some(hopped) = hopped else { continue };
                let size = draw.uniform(0.03, 0.25);
                Episode { trouble, from_h: hopped.hours + 0.5, to_h: until_h, size }
            }
            _ => continue,
        };
        if episode.from_h < until_h {
            found.push(Episode { to_h: episode.to_h.min(until_h), ..episode });
        }
    }
    found
}

/// What they do at this hour. A load of foam grows evenly to its end, a crust over the first quarter and down over the last; the
/// others are there at once.
pub(super) fn load(episodes: &[Episode], hours: f64) -> EpisodeLoad {
    let mut load = EpisodeLoad::default();
    for Episode { trouble, from_h, to_h, size } in episodes.iter().filter(|e| (e.from_h..e.to_h).contains(&hours)) {
        match trouble {
            Trouble::FoamLoad => load.foam_g += size * (hours - from_h) / (to_h - from_h),
            Trouble::FoamCrust => {
                let done = (hours - from_h) / (to_h - from_h);
                load.lean_deg += size * (4.0 * done.min(1.0 - done)).min(1.0);
            }
            Trouble::Leaning => load.lean_deg += size,
            Trouble::BubblePatch => load.gas_ml += size,
            // Near the water line, some 90 mm above the nose.
            _ => load.change = load.change.plus(ProbeChange::mass(*size, 8.0, 90.0)),
        }
    }
    load
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foam_grows_and_slides_off() {
        let one = Episode { trouble: Trouble::FoamLoad, from_h: 10.0, to_h: 20.0, size: 0.4 };
        let at = |hours| load(&[one], hours).foam_g;
        let crust = Episode { trouble: Trouble::FoamCrust, size: -2.0, ..one };
        let turned = |hours| load(&[crust], hours).lean_deg;
        assert!(
            [(11.0, -0.8), (15.0, -2.0), (19.0, -0.8), (20.0, 0.0)]
                .iter()
                .all(|(h, deg)| (turned(*h) - deg).abs() < 1e-9)
        );
        assert!(at(9.9) == 0.0 && at(20.0) == 0.0 && (at(19.0) - 0.36).abs() < 1e-12);
    }
}
