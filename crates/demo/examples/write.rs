//! Writes a made-up pilot: `write DIR small|full|large`.

use std::path::Path;
use std::process::ExitCode;

use backwatt_demo::{Size, write};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (dir, size) = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [dir, "small"] => (dir, Size::Small),
        [dir, "full"] => (dir, Size::Full),
        [dir, "large"] => (dir, Size::Large),
        _ => {
            eprintln!("usage: write DIR small|full|large");
            return ExitCode::from(2);
        }
    };
    let started = std::time::Instant::now();
    match write(Path::new(dir), size, 1, &|_, _| {}) {
        Ok(made) => {
            println!("{made:#?}\n{:.2} s", started.elapsed().as_secs_f64());
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!(
                "error: {error}: {}",
                std::error::Error::source(&error).map_or_else(String::new, ToString::to_string)
            );
            ExitCode::FAILURE
        }
    }
}
