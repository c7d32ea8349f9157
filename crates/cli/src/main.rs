//! The program: arguments, progress, printing, exit codes. The only crate that prints or exits.

mod arguments;
mod commands;
mod exit;
mod progress;

use clap::Parser;

use arguments::Arguments;
use exit::Exit;

fn main() -> std::process::ExitCode {
    install_bug_report();
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version go to stdout and are no fault.
            let _ = error.print();
            return if error.use_stderr() { Exit::Usage.code() } else { Exit::Done.code() };
        }
    };
    match commands::run(&arguments) {
        Ok(exit) => exit.code(),
        Err(fault) => {
            eprintln!("{}", fault.text());
            fault.exit().code()
        }
    }
}

/// A panic is a bug of ours and says so; it never looks like a fault of the data.
fn install_bug_report() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        // A library that gives up on a damaged file: the file's receipt will say so.
        if backwatt::panics_are_caught() {
            return;
        }
        usual(info);
        eprintln!(
            "error[bug]: this is a fault of backwatt, not of your data\n  hint: please report it with the lines above"
        );
        std::process::exit(Exit::Bug as i32);
    }));
}
