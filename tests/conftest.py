"""For all tests: settings that lie in the home of whoever runs them must not matter."""

import os
import tempfile

os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="hearmark-tests-")
