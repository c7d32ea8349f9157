use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;

/// From raw logs of battery-electric trucks to what braking gave back: per driver, per route, per regen level.
#[derive(Debug, Parser)]
#[command(name = "backwatt", version, max_term_width = 100)]
#[command(after_help = "EXAMPLES\n  \
backwatt demo demo-out                 make a pilot in a made-up town and run all of it\n  \
backwatt inspect logs > pilot.toml     draft a pilot file from unknown logs\n  \
backwatt run pilot.toml                every stage, each only where its inputs changed\n\n\
EXIT CODES\n  0 done   1 failed   2 wrong usage   3 done, but more rows rejected than allowed   70 a bug of ours")]
pub struct Arguments {
    #[command(subcommand)]
    pub command: Command,

    /// Print results as JSON on stdout.
    #[arg(long, global = true)]
    pub json: bool,

    /// Threads to use; results do not depend on it.
    #[arg(long, global = true, value_name = "N")]
    pub threads: Option<usize>,

    /// No progress on stderr.
    #[arg(long, short, global = true)]
    pub quiet: bool,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make a pilot in a made-up place, and run every stage on it.
    #[command(after_help = "EXAMPLE\n  backwatt demo demo-out && xdg-open demo-out/out/report/index.html\n\n\
Everything in it is invented: place, people, vehicles. The truth the forward model knows is in DIR/truth.")]
    Demo {
        /// Folder to write into; made if it does not exist.
        dir: PathBuf,
        /// Two trucks and a few days instead of the whole pilot.
        #[arg(long)]
        small: bool,
        /// Seed of everything random.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Every stage: ingest, replay, estimate, report, each only where its inputs changed.
    #[command(after_help = "EXAMPLE\n  backwatt run pilot.toml --out out")]
    Run {
        #[command(flatten)]
        pilot: PilotArguments,
    },
    /// Look at unknown logs, and draft a pilot file on stdout.
    #[command(after_help = "EXAMPLE\n  backwatt inspect logs > logs/pilot.toml\n\n\
Paths in the draft are relative to FOLDER: keep the draft there. What logs cannot know is left as \"?\".")]
    Inspect {
        /// Folder with logs.
        folder: PathBuf,
    },
    /// Print every resolved setting with where it comes from.
    #[command(after_help = "EXAMPLE\n  backwatt settings pilot.toml")]
    Settings {
        /// The pilot file.
        pilot: PathBuf,
    },
    /// Raw logs to samples, rejects and receipts.
    #[command(after_help = "EXAMPLE\n  backwatt ingest pilot.toml")]
    Ingest {
        #[command(flatten)]
        pilot: PilotArguments,
    },
    /// Samples to trips, segments, braking events, stops, charges; or the same trips with something changed.
    #[command(
        after_help = "EXAMPLES\n  backwatt replay pilot.toml\n  backwatt replay pilot.toml --with level=high --with payload=+800kg\n\n\
CHANGES\n  level=NAME   payload=+800kg, 1200kg, -10%   packs=5   aux=+1kW, 2kW   temperature=-10degC, +5K\n  \
speed_cap=50mph   tyres=0.006, -10%   headwind=5m/s\n\n\
Speeds stay as driven, except under a speed cap. Both sides are modelled; the table what_if has every trip."
    )]
    Replay {
        #[command(flatten)]
        pilot: PilotArguments,
        /// Something to change about the same trips; may be given several times.
        #[arg(long, value_name = "CHANGE")]
        with: Vec<String>,
    },
    /// The ledger to battery figures with evidence and interval.
    #[command(after_help = "EXAMPLE\n  backwatt estimate pilot.toml")]
    Estimate {
        #[command(flatten)]
        pilot: PilotArguments,
    },
    /// All tables to pages, text, CSV and JSON.
    #[command(
        after_help = "EXAMPLES\n  backwatt report pilot.toml --text\n  backwatt report pilot.toml --share"
    )]
    Report {
        #[command(flatten)]
        pilot: PilotArguments,
        /// Print the summary, and write no pages.
        #[arg(long)]
        text: bool,
        /// Write a copy that may leave the building to "report-to-share", and say what was taken out.
        #[arg(long, conflicts_with = "text")]
        share: bool,
    },
    /// Print a completion script for a shell.
    #[command(after_help = "EXAMPLE\n  backwatt completions bash > /etc/bash_completion.d/backwatt")]
    Completions {
        /// bash, elvish, fish, powershell or zsh.
        shell: Shell,
    },
    /// Print the data dictionary as Markdown.
    #[command(after_help = "EXAMPLE\n  backwatt dictionary > data-dictionary.md")]
    Dictionary,
}

#[derive(Debug, Args)]
pub struct PilotArguments {
    /// The pilot file.
    pub pilot: PathBuf,
    /// Folder for tables and report [default: "out" beside the pilot file].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Share of rows that may be rejected before the program ends with code 3.
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    pub allow_rejected: f64,
    /// Any rejected row ends the program with code 3.
    #[arg(long)]
    pub strict: bool,
}
