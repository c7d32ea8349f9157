//! Progress: bars on a terminal, plain lines elsewhere.

use std::io::IsTerminal;
use std::sync::Mutex;

use backwatt::Event;
use indicatif::{ProgressBar, ProgressStyle};

pub struct Shown {
    quiet: bool,
    bars: bool,
    bar: Mutex<Option<ProgressBar>>,
}

impl Shown {
    pub fn new(quiet: bool) -> Self {
        Self { quiet, bars: std::io::stderr().is_terminal(), bar: Mutex::new(None) }
    }

    pub fn tell(&self, event: Event) {
        if self.quiet {
            return;
        }
        let mut bar = self.bar.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match event {
            Event::Stage { name, steps } => {
                finish(bar.take());
                if self.bars {
                    *bar = Some(new_bar(name, steps as u64));
                } else {
                    eprintln!("{name}");
                }
            }
            Event::Step { what } => {
                if let Some(bar) = bar.as_ref() {
                    bar.set_message(what);
                    bar.inc(1);
                }
            }
            Event::Unchanged { name } => {
                finish(bar.take());
                eprintln!("{name}: unchanged");
            }
        }
    }

    pub fn end(&self) {
        finish(self.bar.lock().unwrap_or_else(std::sync::PoisonError::into_inner).take());
    }
}

fn new_bar(name: &'static str, steps: u64) -> ProgressBar {
    let bar = if steps > 0 { ProgressBar::new(steps) } else { ProgressBar::new_spinner() };
    if let Ok(style) = ProgressStyle::with_template("{prefix:9} [{bar:28}] {pos:>4} {wide_msg}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.set_prefix(name);
    bar
}

fn finish(bar: Option<ProgressBar>) {
    if let Some(bar) = bar {
        bar.finish_with_message("done");
    }
}
