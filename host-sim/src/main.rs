//! The `nullwalk` command.

fn main() -> std::process::ExitCode {
    nullwalk::cli::main()
}
