//! The lines of the README are those of the guide in the documentation, which run as its example.

/// The first block of Rust in a text, without hidden lines and the marks of comments.
fn block(text: &str) -> Vec<String> {
    let lines = text.lines().map(|line| line.trim_start_matches("//!").trim());
    let from = lines.skip_while(|line| !line.contains("use heelwort::prelude::*;"));
    let shown = from.take_while(|line| *line != "```").filter(|line| !line.starts_with("# "));
    shown.filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

#[test]
fn readme_and_guide_say_the_same() {
    let guide = block(include_str!("../../src/lib.rs"));
    assert_eq!(block(include_str!("../../README.md")), guide);
    assert!((10..=17).contains(&guide.len()), "{guide:?}");
}
