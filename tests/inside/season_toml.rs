//! Settings and the report's own wishes as `season.toml` gives them.

use super::*;

#[test]
fn settings_are_read_beside_the_rest_of_the_file() {
    let text = "time_zone = \"UTC\"\n[study]\nlevel = 0.95\n[study.drift]\nlimit_sg = 0.003\nkind_span_sg = 0\n";
    let settings = Settings::from_season_toml(text).unwrap();
    assert_eq!((settings.level, settings.drift.limit_sg), (0.95, 0.003));
    assert_eq!(Settings::from_season_toml("").unwrap(), Settings::default());
}

#[test]
fn a_report_takes_the_clock_of_the_season_unless_it_has_its_own() {
    let of = |text| ReportSettings::from_season_toml(text).unwrap();
    let season = "time_zone = \"Europe/Oslo\"\n";
    assert_eq!(of("").zone().unwrap(), jiff::tz::TimeZone::UTC);
    assert_eq!(of(season).time_zone.as_deref(), Some("Europe/Oslo"));
    let own = of(&format!("{season}[report]\ntime_zone = \"Asia/Tokyo\"\ngravity = \"plato\"\n"));
    assert_eq!((own.time_zone.as_deref(), own.gravity), (Some("Asia/Tokyo"), crate::study::GravityScale::Plato));
    let refused = ReportSettings::from_season_toml("[report]\ngravity = \"brix\"\n").unwrap_err().to_string();
    assert!(refused.ends_with("found `brix`; wanted `sg` or `plato` for `report.gravity`"), "{refused}");
    let message = ReportSettings::from_season_toml("[report]\ntime_zone = \"Olso\"\n").unwrap_err().to_string();
    assert!(message.contains("`report.time_zone` is \"Olso\"") && message.contains("Europe/Oslo"), "{message}");
}

#[test]
fn what_is_wrong_is_said_with_name_line_and_guess() {
    for (text, parts) in [
        (
            "[study.drift]\nshfit_alarm = 0.1\n",
            &["season.toml, line 2", "`study.drift.shfit_alarm`", "did you mean `shift_alarm`?"][..],
        ),
        ("[study.drfit]\nlimit_sg = 1\n", &["line 1", "`study.drfit`", "did you mean `drift`?"]),
        ("[study]\nlevel = \"high\"\n", &["line 2", "`study.level`", "high"]),
        ("[study.kinetics]\ncurves = [\"smoth\"]\n", &["line 2", "`study.kinetics.curves`", "smoth", "`smooth`"]),
        ("[study.forecast]\ndraws = 1000.5\n", &["line 2", "`study.forecast.draws`"]),
        ("[study.drift]\nshift_alarm = 7\n", &["`study.drift.shift_alarm` is 7; wanted 0 to 0.5"]),
        ("[study]\nlevel = 90\n", &["`study.level` is 90; wanted 0.5 to 0.9999"]),
        ("study = 3\n", &["line 1", "`study`"]),
        ("[report]\ngravty = \"sg\"\n", &["line 2", "`report.gravty`", "did you mean `gravity`?"]),
        ("[report]\ngravity = \"brix\"\n", &["line 2", "`report.gravity`", "`brix`", "`plato`"]),
        ("[report]\ntemperature = \"F\"\n", &["line 2", "`report.temperature`", "`degF`"]),
    ] {
        let message = Settings::from_season_toml(text).unwrap_err().to_string();
        for part in parts {
            assert!(message.contains(part), "{part}: {message}");
        }
    }
}
