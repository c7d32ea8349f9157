//! One function per subcommand.

use std::io::Write;
use std::path::{Path, PathBuf};

use backwatt::{Answers, BackwattError, DemoSize, Event, Origin, Outcome, Pilot, Problem, ReportOptions, Run};
use clap::CommandFactory;
use serde::Serialize;

use crate::arguments::{Arguments, Command, PilotArguments};
use crate::exit::Exit;
use crate::progress::Shown;

/// Why a command failed, ready to print.
pub enum Fault {
    Problems(Vec<Problem>),
    Backwatt(BackwattError),
    Other(anyhow::Error),
}

impl Fault {
    pub fn text(&self) -> String {
        match self {
            Fault::Problems(problems) => {
                problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n\n")
            }
            Fault::Backwatt(BackwattError::Problems(problems)) => Fault::Problems(problems.clone()).text(),
            Fault::Backwatt(error) if error.is_bug() => {
                format!(
                    "error[bug]: {}\n  hint: this is a fault of backwatt, not of your data; please report it",
                    chain(error)
                )
            }
            Fault::Backwatt(error) if error.is_disk_full() => format!(
                "error[run-disk-full]: {}\n  hint: nothing half written stays behind; make room, or name another folder with --out, and run again",
                chain(error)
            ),
            Fault::Backwatt(error) => format!(
                "error[run]: {}\n  hint: nothing half written stays behind; mend the cause and run again (if a table is damaged, delete the output folder)",
                chain(error)
            ),
            Fault::Other(error) => format!("error: {error:#}"),
        }
    }

    pub fn exit(&self) -> Exit {
        match self {
            Fault::Backwatt(error) if error.is_bug() => Exit::Bug,
            _ => Exit::Failed,
        }
    }
}

/// An error with its causes, each once.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text = format!("{text}: {cause_text}");
        }
        next = cause.source();
    }
    text
}

impl From<BackwattError> for Fault {
    fn from(error: BackwattError) -> Self {
        Fault::Backwatt(error)
    }
}

impl From<std::io::Error> for Fault {
    fn from(error: std::io::Error) -> Self {
        Fault::Other(error.into())
    }
}

impl From<serde_json::Error> for Fault {
    fn from(error: serde_json::Error) -> Self {
        Fault::Other(error.into())
    }
}

pub fn run(arguments: &Arguments) -> Result<Exit, Fault> {
    if let Some(threads) = arguments.threads.filter(|n| *n > 0) {
        let _ = rayon::ThreadPoolBuilder::new().num_threads(threads.min(256)).build_global();
    }
    let shown = Shown::new(arguments.quiet);
    let exit = match &arguments.command {
        Command::Demo { dir, small, seed } => demo(arguments, dir, *small, *seed, &shown),
        Command::Run { pilot } => {
            stage(arguments, pilot, &shown, |run, tell| run.all(tell, ReportOptions::default()))
        }
        Command::Ingest { pilot } => stage(arguments, pilot, &shown, |run, tell| run.ingest(tell)),
        Command::Replay { pilot, with } if !with.is_empty() => what_if(arguments, pilot, with, &shown),
        Command::Replay { pilot, .. } => stage(arguments, pilot, &shown, |run, tell| run.replay(tell)),
        Command::Estimate { pilot } => stage(arguments, pilot, &shown, |run, tell| run.estimate(tell)),
        Command::Report { pilot, share: true, .. } => share(arguments, pilot, &shown),
        Command::Report { pilot, text, .. } => {
            let options = ReportOptions { no_pages: *text, to_share: false };
            stage(arguments, pilot, &shown, |run, tell| run.report(tell, options))
        }
        Command::Inspect { folder } => inspect(arguments, folder),
        Command::Settings { pilot } => settings(arguments, pilot),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(*shell, &mut Arguments::command(), "backwatt", &mut script);
            out(&String::from_utf8_lossy(&script))?;
            Ok(Exit::Done)
        }
        Command::Dictionary => {
            out(&backwatt::dictionary::markdown())?;
            Ok(Exit::Done)
        }
    };
    shown.end();
    exit
}

/// Writes to stdout; a reader that went away is no fault.
fn out(text: &str) -> Result<(), Fault> {
    let mut stdout = std::io::stdout().lock();
    let written = stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush());
    match written {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}

fn read_pilot(path: &Path) -> Result<Pilot, Fault> {
    backwatt::read_pilot(path).map_err(Fault::Problems)
}

fn demo(arguments: &Arguments, dir: &Path, small: bool, seed: u64, shown: &Shown) -> Result<Exit, Fault> {
    let size = if small { DemoSize::Small } else { DemoSize::Full };
    let made = backwatt::make_demo(dir, size, seed, &|event: Event| shown.tell(event))?;
    shown.end();
    if arguments.json {
        json(&made.outcome, &made.out)?;
    } else {
        summary(&made.outcome)?;
        out(&format!(
            "\nEverything above is invented: place, people and vehicles. {} rows in {} log files.\n\
             pilot file  {}\ntruth       {}\ntables      {}\nreport      {}\n",
            made.rows,
            made.log_files,
            made.pilot_file.display(),
            made.truth_dir.display(),
            made.out.display(),
            made.out.join("report").join("index.html").display(),
        ))?;
    }
    Ok(Exit::Done)
}

fn stage(
    arguments: &Arguments,
    given: &PilotArguments,
    shown: &Shown,
    work: impl FnOnce(&Run, backwatt::Progress<'_>) -> Result<Outcome, BackwattError>,
) -> Result<Exit, Fault> {
    if !(0.0..=1.0).contains(&given.allow_rejected) {
        eprintln!("error[usage]: --allow-rejected wants a share between 0 and 1");
        return Ok(Exit::Usage);
    }
    let pilot = read_pilot(&given.pilot)?;
    let folder = given.out.clone().unwrap_or_else(|| pilot.folder.join("out"));
    let run = Run::new(pilot, &folder);
    let outcome = work(&run, &|event: Event| shown.tell(event))?;
    shown.end();
    if arguments.json {
        json(&outcome, &folder)?;
    } else if outcome.answers.is_some() {
        summary(&outcome)?;
        out(&format!("\ntables  {}\nreport  {}\n", folder.display(), folder.join("report").display()))?;
    } else {
        for problem in &outcome.problems {
            eprintln!("{problem}\n");
        }
        out(&format!(
            "{} vehicles; {} rows read, {} rejected ({:.2} %)\ntables  {}\n",
            outcome.vehicles.len(),
            outcome.rows_in,
            outcome.rows_rejected,
            100.0 * outcome.rejected_share(),
            folder.display()
        ))?;
    }
    Ok(exit(&outcome, given))
}

/// The copy of the report for others, and what is not in it.
fn share(arguments: &Arguments, given: &PilotArguments, shown: &Shown) -> Result<Exit, Fault> {
    let pilot = read_pilot(&given.pilot)?;
    let folder = given.out.clone().unwrap_or_else(|| pilot.folder.join("out"));
    let run = Run::new(pilot, &folder);
    let options = ReportOptions { no_pages: false, to_share: true };
    let outcome = run.report(&|event: Event| shown.tell(event), options)?;
    shown.end();
    if arguments.json {
        json(&outcome, &folder)?;
    } else {
        let taken = outcome.answers.as_ref().map(|answers| answers.taken_out.as_slice()).unwrap_or_default();
        out("Taken out of the copy:\n")?;
        taken.iter().try_for_each(|line| out(&format!("- {line}\n")))?;
        out(&format!(
            "\ncopy  {}\nkey   {}\n",
            run.layout.report_to_share().display(),
            run.layout.key_of_share().display()
        ))?;
    }
    Ok(exit(&outcome, given))
}

fn what_if(
    arguments: &Arguments,
    given: &PilotArguments,
    with: &[String],
    shown: &Shown,
) -> Result<Exit, Fault> {
    let pilot = read_pilot(&given.pilot)?;
    let folder = given.out.clone().unwrap_or_else(|| pilot.folder.join("out"));
    let answers = Run::new(pilot, &folder).what_if(with, &|event: Event| shown.tell(event))?;
    shown.end();
    if arguments.json {
        out(&format!("{}\n", serde_json::to_string_pretty(&answers)?))?;
    } else {
        out(&backwatt::what_if_text(&answers))?;
        out(&format!("\ntable  {}\n", folder.join("what_if").display()))?;
    }
    Ok(Exit::Done)
}

fn exit(outcome: &Outcome, given: &PilotArguments) -> Exit {
    if outcome.rows_in == outcome.rows_rejected {
        eprintln!(
            "warning[run-nothing-read]: not one row of the logs was kept\n  hint: the receipts table says of each file why"
        );
        return Exit::Rejected;
    }
    let allowed = if given.strict { 0.0 } else { given.allow_rejected };
    if outcome.rejected_share() > allowed {
        eprintln!(
            "warning[run-rejected]: {:.2} % of the rows were rejected, {:.2} % are allowed\n  hint: the rejects table has each with reason, file and line",
            100.0 * outcome.rejected_share(),
            100.0 * allowed
        );
        return Exit::Rejected;
    }
    Exit::Done
}

fn summary(outcome: &Outcome) -> Result<(), Fault> {
    match &outcome.answers {
        Some(answers) => out(&backwatt::summary_text(answers)),
        None => Ok(()),
    }
}

#[derive(Serialize)]
struct Printed<'a> {
    vehicles: &'a [String],
    rows_in: u64,
    rows_rejected: u64,
    problems: Vec<String>,
    out: PathBuf,
    answers: Option<&'a Answers>,
}

fn json(outcome: &Outcome, folder: &Path) -> Result<(), Fault> {
    let printed = Printed {
        vehicles: &outcome.vehicles,
        rows_in: outcome.rows_in,
        rows_rejected: outcome.rows_rejected,
        problems: outcome.problems.iter().map(ToString::to_string).collect(),
        out: folder.to_owned(),
        answers: outcome.answers.as_ref(),
    };
    out(&format!("{}\n", serde_json::to_string_pretty(&printed)?))
}

fn inspect(arguments: &Arguments, folder: &Path) -> Result<Exit, Fault> {
    let draft = backwatt::inspect(folder).map_err(|error| {
        let problem =
            Problem::error("inspect-unreadable", error.to_string()).in_file(folder.display().to_string());
        Fault::Problems(vec![problem.hint("name a folder that holds logs")])
    })?;
    if arguments.json {
        let value =
            serde_json::json!({ "pilot_toml": draft.toml, "notes": draft.notes, "sources": draft.sources });
        out(&format!("{}\n", serde_json::to_string_pretty(&value)?))?;
    } else {
        for note in &draft.notes {
            eprintln!("{note}");
        }
        out(&draft.toml)?;
    }
    if draft.sources == 0 {
        eprintln!(
            "warning[inspect-nothing]: no file with a time and a speed was found below {}",
            folder.display()
        );
        return Ok(Exit::Failed);
    }
    Ok(Exit::Done)
}

fn settings(arguments: &Arguments, path: &Path) -> Result<Exit, Fault> {
    let pilot = read_pilot(path)?;
    if arguments.json {
        out(&format!("{}\n", serde_json::to_string_pretty(&pilot.settings)?))?;
        return Ok(Exit::Done);
    }
    let width = pilot.settings.iter().map(|s| s.key.chars().count()).max().unwrap_or(0).min(60);
    let mut text = String::new();
    for setting in &pilot.settings {
        let origin = match &setting.origin {
            Origin::File { line } => format!("{}, line {line}", path.display()),
            Origin::Default { source } => format!("default: {source}"),
        };
        text.push_str(&format!("{:width$}  {}  ({origin})\n", setting.key, setting.value));
    }
    out(&text)?;
    Ok(Exit::Done)
}
