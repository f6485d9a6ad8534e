// What a destination gets beside the copies, so that it can stand alone: the lists of digests, the catalogue, the plan.
#pragma once

#include <optional>
#include <stop_token>
#include <vector>

#include "catalogue/catalogue.h"
#include "model.h"
#include "offload/names.h"
#include "pipeline/match_destinations.h"

namespace everytake::pipeline {

// Where a roll's files lie at a destination, from one of its files: "saltmarsh-radio/R001". Stored paths are as deep as
// the card's, whatever their names.
Path roll_folder(const Path& stored, const Path& on_card);

// The names of a destination's files: those of `rows` that came to lie there keep theirs. `home` is the folder above
// the rolls.
offload::NamesThere names_at(Fs& fs, const Path& home, const offload::UnusualNames& odd,
                             std::span<const catalogue::FileRow> rows, DestinationId id);

// Writes a roll's lists of digests anew into the destination's home, from the copies that are verified there, and the
// card's own names where some lie there under others. Nothing where there is no copy. A failure is a problem, never the
// end: the copies stand without it.
Result<std::optional<Problem>> leave_manifests(const catalogue::Catalogue& catalogue, const catalogue::Roll& roll,
                                               const MatchedDestination& matched, std::stop_token stop);

// write_note() into `folder`, which is made where it is missing.
Result<void> keep_note(Fs& fs, const Path& folder, const Path& name, std::string_view bytes);

// Puts the catalogue as it is now, and the plan, beside the rolls at each of `matches`; each replaced whole or not at
// all. One that another catalogue has taken meanwhile is left alone, and told.
std::vector<Problem> leave_catalogue(catalogue::Catalogue& catalogue, const Plan& plan, const Clock& clock,
                                     std::span<const MatchedDestination> matches);

// Whether what lies under a copy's name was left there by a visit and not by a person: a copy was read back there once,
// or it has the time of the card's file (as far as FAT keeps it), which a visit gives each copy before its name. A
// visit that ends between the name and the catalogue knows no more of it.
bool is_left_by_a_visit(const ReadFs& fs, const catalogue::FileRow& row, DestinationId destination, const Path& stored);

// Moves what lies under a copy's name to `<roll>.bad` beside the roll, under a name that is free: never deleted. False
// where nothing lay there, and where that could not be done durably.
bool set_aside(Fs& fs, const Path& stored, const Path& on_card);

}  // namespace everytake::pipeline
