// The first step of a visit.
#pragma once

#include <stop_token>

#include "pipeline/pipeline.h"

namespace everytake::pipeline {

// What the card holds, by two listings that agree. `invalid` where there is no file on it, `busy` where the listings
// differ, else the card's error, also where no file is seen for folders that can't be read.
Result<Listing> list_card(const Card& card, std::stop_token stop);

}  // namespace everytake::pipeline
