// Tests speak of what all folders of daemon/ hold by its bare name.
#pragma once

namespace everytake {
namespace align {}
namespace card {}
namespace catalogue {}
namespace coverage {}
namespace examiner {}
namespace exports {}
namespace media {}
namespace offload {}
namespace pipeline {}
namespace plan {}
namespace setup {}
namespace service {}
using namespace align;
using namespace card;
using namespace catalogue;
using namespace coverage;
using namespace examiner;
using namespace exports;
using namespace media;
using namespace offload;
using namespace pipeline;
using namespace plan;
using namespace service;
}  // namespace everytake
