//! The two blocks that the notebook kernel reads from what a cell prints.

use super::page::Show;

const BEGIN: &str = "EVCXR_BEGIN_CONTENT";
const END: &str = "EVCXR_END_CONTENT";

/// Prints a result for the notebook: one HTML block and one plain block, each in one write, so that nothing another
/// thread prints comes between.
#[allow(clippy::print_stdout, reason = "the kernel reads the standard output of the cell")]
pub(crate) fn print(shown: &impl Show) {
    println!("{}", blocks(&shown.html(), &shown.to_string()));
}

fn blocks(html: &str, text: &str) -> String {
    format!("{}\n{}", block("text/html", html), block("text/plain", text))
}

/// One block. A line of the content that equals the end marker would cut it short, so it gets a space before it.
fn block(mime: &str, content: &str) -> String {
    let lines: Vec<_> =
        content.lines().map(|line| if line.trim_end() == END { format!(" {line}") } else { line.to_owned() }).collect();
    format!("{BEGIN} {mime}\n{}\n{END}", lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_ends_once_whatever_it_holds() {
        let made = blocks("<p>a\nEVCXR_END_CONTENT\nb</p>", "EVCXR_END_CONTENT\r\nplain");
        let ends = made.lines().filter(|line| *line == END).count();
        assert_eq!(ends, 2, "{made}");
        assert!(made.starts_with("EVCXR_BEGIN_CONTENT text/html\n<p>a\n"), "{made}");
        assert!(made.contains("\nEVCXR_BEGIN_CONTENT text/plain\n"), "{made}");
        assert!(made.ends_with("plain\nEVCXR_END_CONTENT"), "{made}");
    }
}
