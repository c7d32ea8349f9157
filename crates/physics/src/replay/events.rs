//! Braking events: stretches of negative wheel force.

use std::ops::Range;

use super::ReplaySettings;
use super::ledger::{Ledger, pedal_at};
use super::track::Track;

#[derive(Debug, Clone)]
pub struct Event {
    /// Intervals from the first to the last that brakes.
    pub knots: Range<usize>,
    pub trip: usize,
    pub order: u32,
    pub ledger: Ledger,
    pub peak_m_s2: f64,
    pub pedal: Option<bool>,
}

/// A pause without braking shorter than this does not end an event. [s] Common practice, no source.
const PAUSE_S: f64 = 1.0;

/// Fed with every driving interval in order; keeps the events of the least length and energy.
pub struct Finder<'a> {
    track: &'a Track,
    settings: &'a ReplaySettings,
    open: Option<Event>,
    pause: Ledger,
    pub events: Vec<Event>,
}

impl<'a> Finder<'a> {
    pub fn new(track: &'a Track, settings: &'a ReplaySettings) -> Self {
        Self { track, settings, open: None, pause: Ledger::default(), events: Vec::new() }
    }

    pub fn feed(&mut self, trip: usize, k: usize, booked: &Ledger) {
        if booked.road.braking_j <= 0.0 {
            self.pause.add(booked);
            if self.pause.duration_s >= PAUSE_S {
                self.end();
            }
            return;
        }
        let new =
            || Event { knots: k..k, trip, order: 0, ledger: Ledger::default(), peak_m_s2: 0.0, pedal: None };
        let event = self.open.get_or_insert_with(new);
        if event.knots.end > event.knots.start {
            event.ledger.add(&self.pause);
        }
        self.pause = Ledger::default();
        event.ledger.add(booked);
        event.knots.end = k + 1;
        let slowing = (self.track.speed[k] - self.track.speed[k + 1]) / booked.duration_s;
        event.peak_m_s2 = event.peak_m_s2.max(slowing);
        event.pedal = match (event.pedal, pedal_at(self.track, k)) {
            (Some(a), Some(b)) => Some(a || b),
            (a, b) => a.or(b),
        };
    }

    /// Ends the open event, at the end of a run as well.
    pub fn end(&mut self) {
        self.pause = Ledger::default();
        let Some(mut event) = self.open.take() else { return };
        let long = self.track.seconds(event.knots.start, event.knots.end) >= self.settings.event_least_s;
        if long && event.ledger.road.braking_j >= self.settings.event_least_j {
            let last = self.events.last().filter(|last| last.trip == event.trip);
            event.order = last.map_or(0, |last| last.order + 1);
            self.events.push(event);
        }
    }
}
