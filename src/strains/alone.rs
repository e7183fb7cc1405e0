//! What only one strain ever had cannot be told from the strain.

use std::collections::BTreeMap;

use crate::season::{Batch, some};

use super::model::ModelRow;
use super::words::MOST_NAMED;

/// Which of a kind a batch had.
type Had = fn(&Batch) -> Vec<&str>;

const KINDS: [(&str, Had); 3] = [
    ("wort", |row| row.wort.as_deref().into_iter().collect()),
    ("vessel", |row| row.vessel.as_deref().into_iter().collect()),
    ("probe", |row| row.probes.iter().map(String::as_str).collect()),
];

/// A note for each kind where strains had one again and again that no other strain had.
pub(super) fn notes(rows: &[ModelRow<'_>], strains: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for (kind, had) in KINDS {
        let mut users: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        // By strain: whether it used one again, and whether one may have been another's too.
        let (mut again, mut shared) = (vec![false; strains.len()], vec![false; strains.len()]);
        for row in rows {
            let own = row.batch.map(had).unwrap_or_default();
            shared[row.strain] |= own.is_empty();
            own.into_iter().for_each(|one| users.entry(one).or_default().push(row.strain));
        }
        for users in users.values() {
            let alone = users.iter().all(|user| Some(user) == users.first());
            for user in users {
                shared[*user] |= !alone;
                again[*user] |= users.len() > 1;
            }
        }
        let alone: Vec<&str> = (0..strains.len()).filter(|s| again[*s] && !shared[*s]).map(|s| strains[s]).collect();
        if strains.len() > 1 && !alone.is_empty() {
            let who = some(&alone, MOST_NAMED);
            found.push(format!("compared together with their {kind}, which no other strain had: {who}"));
        }
    }
    found
}
