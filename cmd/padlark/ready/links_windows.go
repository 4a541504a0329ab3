package ready

import "io/fs"

func mayUse(string) bool { return true }

func groupOf(_ fs.FileInfo, usual string) string { return usual }
