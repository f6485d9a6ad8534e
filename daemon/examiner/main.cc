// everytake-examiner: looks into recordings for the other programs, which start it.
#include <iostream>

#include "examiner/examination.h"
#include "examiner/examine.h"

using namespace everytake;

int main(int argc, char** argv) {
  if (const auto exit = examiner::serve_examinations(argc, argv, examiner::run_examination)) return *exit;
  std::cerr << "everytake-examiner " EVERYTAKE_VERSION ": everytake and everytaked start it to read recordings\n";
  return 2;
}
