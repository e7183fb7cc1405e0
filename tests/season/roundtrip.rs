//! Writing a season back gives the same season.

use heelwort::season::{FileFormat, RowAccount, Season};

use super::files::{PLAIN, folder, load};

fn without_account(mut season: Season) -> Season {
    season.account = RowAccount::default();
    season
}

#[test]
fn a_plain_season_is_the_same_after_writing() {
    let season = load(&folder(PLAIN));
    assert_eq!(season.readings.len(), 4);
    assert_eq!(season.account.rejected, []);
    for format in [FileFormat::Csv, FileFormat::Ndjson, FileFormat::Parquet] {
        let dir = tempfile::tempdir().unwrap();
        season.write_as(dir.path(), format).unwrap();
        assert_eq!(without_account(load(&dir)), without_account(season.clone()), "{format:?}");
    }
}
