//! Which channels a file offers, under which names, and which of them the mapping wants.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use falcon_mdf::{Channel, ChannelGroup, Mf4Error, Mf4File, ValueKind};

use crate::header::position;

/// A channel group that holds wanted channels.
pub struct Group {
    pub label: String,
    pub master: Channel,
    /// Channels and the fields they fill.
    pub channels: Vec<(Channel, usize)>,
    /// Samples that the file says it has.
    pub declared: u64,
}

/// The fields of the records and the groups that fill them.
pub struct Choice {
    pub names: Vec<String>,
    pub units: Vec<String>,
    pub groups: Vec<Group>,
}

/// A name and the channel that bears it: running number of the group, number of the channel within.
type Offer = (String, (usize, usize));

/// The fields that the mapping asks for; every channel under its shortest name where it asks for none, so that the message
/// about it can list them.
pub fn pick(file: &Mf4File, clock: &[&str], wanted: &[&str]) -> Result<Choice, Mf4Error> {
    let groups: Vec<&ChannelGroup> = file.data_groups().iter().flat_map(|data| &data.channel_groups).collect();
    let offers = offers(&groups);
    let offered: Vec<String> = offers.iter().map(|(name, _)| name.clone()).collect();
    let mut asked: BTreeSet<usize> = wanted.iter().filter_map(|name| position(&offered, name)).collect();
    if asked.is_empty() {
        let mut met = HashSet::new();
        asked = (0..offers.len()).filter(|at| met.insert(offers[*at].1)).collect();
    }
    let mut names: Vec<String> = clock.iter().map(|name| (*name).to_owned()).collect();
    let mut units: Vec<String> =
        clock.iter().map(|name| if *name == "time_s" { "s".to_owned() } else { String::new() }).collect();
    let mut of_group: BTreeMap<usize, Vec<(Channel, usize)>> = BTreeMap::new();
    for (name, (group, channel)) in asked.into_iter().map(|at| &offers[at]) {
        let channel = &groups[*group].channels[*channel];
        of_group.entry(*group).or_default().push((channel.clone(), names.len()));
        names.push(name.clone());
        units.push(channel.unit.clone());
    }
    let mut picked = Vec::new();
    for (number, channels) in of_group {
        let group = groups[number];
        let Some(master) = time_master(group) else { continue };
        let declared = if is_counted(file) { declared(file, group)? } else { group.sample_count };
        let label = format!("group {number}");
        picked.push(Group { label, master: master.clone(), channels, declared });
    }
    Ok(Choice { names, units, groups: picked })
}

fn time_master(group: &ChannelGroup) -> Option<&Channel> {
    group.channels.iter().find(|channel| channel.is_time_channel())
}

/// Every name that a readable channel with a clock goes by.
fn offers(groups: &[&ChannelGroup]) -> Vec<Offer> {
    let mut channels = Vec::new();
    for (number, group) in groups.iter().enumerate().filter(|(_, group)| time_master(group).is_some()) {
        for (at, channel) in group.channels.iter().enumerate().filter(|(_, channel)| is_readable(channel)) {
            channels.push((channel.name.as_str(), (number, at)));
        }
    }
    let mut times: HashMap<&str, usize> = HashMap::new();
    channels.iter().for_each(|(name, _)| *times.entry(name).or_default() += 1);
    let mut labels: HashMap<&str, usize> = HashMap::new();
    groups.iter().for_each(|group| *labels.entry(group.acquisition_name.as_str()).or_default() += 1);

    let plain =
        channels.iter().filter(|(name, _)| times[name] == 1).map(|(name, at)| ((*name).to_owned(), *at));
    let labelled = channels.iter().filter_map(|(name, at)| {
        let label = groups[at.0].acquisition_name.as_str();
        (!label.is_empty() && labels[label] == 1).then(|| (format!("{label}.{name}"), *at))
    });
    let numbered = channels.iter().map(|(name, at)| (format!("group {}.{name}", at.0), *at));
    plain.chain(labelled).chain(numbered).collect()
}

/// Numbers and texts of one value a sample.
fn is_readable(channel: &Channel) -> bool {
    let kind = channel.value_kind();
    !channel.is_master()
        && channel.unreadable().is_none()
        && !channel.is_array()
        && (kind.is_numeric() || kind == ValueKind::Str)
}

/// Whether the counts in the file were brought up to date at its end.
fn is_counted(file: &Mf4File) -> bool {
    file.unfinalized().is_none_or(|undone| !undone.update_cg_counters)
}

/// The count of samples that a group's block states. The library corrects it by what the data hold, and says nothing.
fn declared(file: &Mf4File, group: &ChannelGroup) -> Result<u64, Mf4Error> {
    let word = |at: u64| -> Result<u64, Mf4Error> {
        let bytes = file.read_raw(at, 8)?;
        Ok(bytes.as_slice().try_into().map(u64::from_le_bytes).unwrap_or_default())
    };
    let block = group.block_offset();
    let links = word(block + 16)?.min(64);
    // After the block's head and links: record identifier, then the count.
    word(block + 24 + 8 * links + 8)
}
