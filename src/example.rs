//! Examples in the documentation, on an invented season: `#[doc = example!(study "study.drift()?.chart()?;")]`.

/// An example on a small season with its calibrations, or on the study of one, as text for the documentation.
macro_rules! example {
    (season $code:literal) => {
        concat!(
            "\n```\nuse heelwort::prelude::*;\n# fn main() -> heelwort::Result<()> {\n",
            "# let settings = SimulateSettings { batches: 1, probes: 2, span_days: 20.0, reading_minutes: 240.0, ..Default::default() };\n",
            "# let season = settings.run()?.season;\n",
            $code,
            "\n# Ok(())\n# }\n```"
        )
    };
    (no_run $code:literal) => {
        concat!(
            "\n```no_run\nuse heelwort::prelude::*;\n# fn main() -> heelwort::Result<()> {\n",
            "# let season = Season::load(\"my-season\")?;\n# let study = Settings::default().study(&season)?;\n",
            $code,
            "\n# Ok(())\n# }\n```"
        )
    };
    (study $code:literal) => {
        concat!(
            "\n```\nuse heelwort::prelude::*;\n# fn main() -> heelwort::Result<()> {\n",
            "# let settings = SimulateSettings { batches: 4, probes: 2, strains: 2, reading_minutes: 240.0, ..Default::default() };\n",
            "# let season = settings.run()?.season;\n",
            "# let study = Settings::default().study(&season)?;\n",
            "# let (probe, batch) = (&season.probes[0].probe, &season.batches[0].batch);\n",
            $code,
            "\n# Ok(())\n# }\n```"
        )
    };
}
