// A new catalogue from one destination alone: the laptop is lost, the disk is here.
#pragma once

#include <stop_token>
#include <string>
#include <vector>

#include "model.h"

namespace everytake::pipeline {

struct Rebuilt {
  std::string destination;      // its name in the plan and the catalogue
  bool from_catalogue = false;  // the catalogue kept there was the start, with tags and places; else the lists alone
  bool plan_restored = false;
  std::size_t rolls = 0, files = 0;
  std::vector<Problem> problems;
};

// Makes `shoot`'s catalogue, and its plan where it has none, from what lies in `destination`: the folder a plan names,
// or the shoot's folder in it. No copy counts as verified afterwards, here or elsewhere: verify() reads them back.
// `exists` where the shoot has a catalogue already, `not_found` where nothing of a shoot lies there, `invalid` where
// several do and the shoot has no plan that says which. After a failure the folder holds what it held before. Of the
// plan only what copies rely on must be right: the song's file is not kept there.
Result<Rebuilt> rebuild(const Path& destination, const Path& shoot, std::stop_token stop);

}  // namespace everytake::pipeline
