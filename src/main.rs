//! The program: all it does is in the library's `cli`.

fn main() -> std::process::ExitCode {
    heelwort::cli::run()
}
