package schema

// Station is a whole configuration.
type Station struct {
	// Id of the station: topics, labels, the page.
	Station ID `json:"station"`
	// The packed glands, at least one.
	Glands []Gland `json:"glands" jsonschema:"minItems=1"`
	// Modbus connections that points refer to.
	Modbus []Modbus `json:"modbus,omitempty" jsonschema:"minItems=1"`
	// The broker to publish to; without it nothing is published over MQTT.
	MQTT *MQTT `json:"mqtt,omitempty"`
	// Where metrics are pushed to; without it they are only scraped.
	RemoteWrite *RemoteWrite `json:"remote_write,omitempty"`
	// How alarms live.
	Alarms *Alarms `json:"alarms,omitempty"`
	// Where the agent keeps what must survive it.
	Store *Store `json:"store,omitempty"`
	// Page, metrics and API.
	HTTP *HTTP `json:"http,omitempty"`
	// What the agent writes to standard error.
	Log *Log `json:"log,omitempty"`
	// Where the station is, such as Europe/Berlin; the machine's zone where none is given.
	TimeZone string `json:"time_zone,omitempty" jsonschema:"pattern=^[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*$,maxLength=64"`
	// File with texts of advice instead of our own.
	AdviceFile Path `json:"advice_file,omitempty"`
	// What the water that is lost costs.
	Water *Water `json:"water,omitempty"`
}

// Water is what water costs.
type Water struct {
	// Price of a cubic metre.
	PricePerM3 float64 `json:"price_per_m3,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Currency of the price, such as EUR.
	Currency string `json:"currency,omitempty" jsonschema:"minLength=1,maxLength=8"`
}

// Gland is one packed gland.
type Gland struct {
	// Id of the gland: topics, labels, recordings.
	ID ID `json:"id"`
	// Name for people; the id where none is given.
	Name string `json:"name,omitempty" jsonschema:"minLength=1,maxLength=80"`
	// The weep it is set to, drops per minute; the wanted weep of the fibre where none is given.
	NormalDPM float64 `json:"normal_dpm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Volume of one drop in millilitres, as measured at the gland: gives litres.
	DropML float64 `json:"drop_ml,omitempty" jsonschema:"minimum=0.005,maximum=1"`
	// What the gland is packed with.
	Packing *Packing `json:"packing,omitempty"`
	// The box itself and its duty.
	StuffingBox *StuffingBox `json:"stuffing_box,omitempty"`
	// Limits of the good band. The pump and packing makers' figures come first.
	Limits *Limits `json:"limits,omitempty"`
	// What keeps conditions from chattering.
	Timing *Timing `json:"timing,omitempty"`
	// Where the readings come from.
	Sensors *Sensors `json:"sensors,omitempty"`
}

// Packing is what the box is packed with.
type Packing struct {
	// Sets the wanted weep: natural 15, synthetic 30 drops per minute (common practice, no source).
	Fibre string `json:"fibre,omitempty" jsonschema:"enum=natural,enum=synthetic,default=synthetic"`
	// Family of the packing.
	Family string `json:"family,omitempty" jsonschema:"enum=plant,enum=acrylic,enum=aramid,enum=ptfe,enum=ptfe-graphite,enum=graphite,enum=carbon"`
	// Packing rings, the lantern ring not counted.
	Rings Whole `json:"rings,omitempty" jsonschema:"minimum=1,maximum=30"`
	// Rings between the bottom of the box and the lantern ring.
	LanternAfter Whole `json:"lantern_after,omitempty" jsonschema:"minimum=0,maximum=30"`
	// Length of the lantern ring, millimetres.
	LanternMM float64 `json:"lantern_mm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1500"`
	// Section of the packing, millimetres.
	SectionMM float64 `json:"section_mm,omitempty" jsonschema:"minimum=1,maximum=100"`
	// Coefficient of friction, lower end.
	FrictionLow float64 `json:"friction_low,omitempty" jsonschema:"minimum=0.001,maximum=1"`
	// Coefficient of friction, upper end.
	FrictionHigh float64 `json:"friction_high,omitempty" jsonschema:"minimum=0.001,maximum=1"`
	// Contact pressure, lower end, bar.
	ContactBarLow float64 `json:"contact_bar_low,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000"`
	// Contact pressure, upper end, bar.
	ContactBarHigh float64 `json:"contact_bar_high,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000"`
	// Most temperature that the supplier allows, °C.
	SupplierMaxC float64 `json:"supplier_max_c,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000"`
	// Most surface speed that the supplier allows, metres a second.
	SupplierMaxMPS float64 `json:"supplier_max_m_s,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100"`
	// Most pressure that the supplier allows, bar.
	SupplierMaxBar float64 `json:"supplier_max_bar,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1000"`
}

// StuffingBox is the box itself and its duty.
type StuffingBox struct {
	// Diameter of the shaft, millimetres.
	ShaftMM float64 `json:"shaft_mm,omitempty" jsonschema:"minimum=3,maximum=1500"`
	// Diameter of the sleeve, millimetres.
	SleeveMM float64 `json:"sleeve_mm,omitempty" jsonschema:"minimum=3,maximum=1500"`
	// Bore of the box, millimetres.
	BoreMM float64 `json:"bore_mm,omitempty" jsonschema:"minimum=3,maximum=1500"`
	// Depth of the box, millimetres.
	DepthMM float64 `json:"depth_mm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1500"`
	// Where the flush port is, millimetres.
	FlushPortMM float64 `json:"flush_port_mm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1500"`
	// Speed of the shaft, turns a minute.
	SpeedRPM float64 `json:"speed_rpm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=30000"`
	// Pressure at the box, bar over the air around.
	PressureBar float64 `json:"pressure_bar,omitempty" jsonschema:"minimum=-1,maximum=400"`
	// Pressure of the flush water, bar over the air around.
	FlushBar float64 `json:"flush_bar,omitempty" jsonschema:"minimum=-1,maximum=400"`
	// Pressure of the air around, bar, absolute.
	AirBar float64 `json:"air_bar,omitempty" jsonschema:"minimum=0.5,maximum=1.2,default=1.01325"`
	// What is pumped.
	Fluid string `json:"fluid,omitempty" jsonschema:"enum=water,enum=drinking-water,enum=sea-water,enum=waste-water,enum=slurry,enum=oil,enum=acid,enum=alkali,enum=oxidiser"`
	// Temperature of what is pumped, °C.
	FluidC float64 `json:"fluid_c,omitempty" jsonschema:"minimum=-30,maximum=370"`
	// Temperature of the flush water, °C.
	FlushC float64 `json:"flush_c,omitempty" jsonschema:"minimum=-30,maximum=370"`
	// Pitch of the gland studs' thread, millimetres a turn.
	ThreadPitchMM float64 `json:"thread_pitch_mm,omitempty" jsonschema:"minimum=0.25,maximum=10"`
	// Travel of the follower that is left with new packing, millimetres.
	FollowerTravelMM float64 `json:"follower_travel_mm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=1500"`
	// Flats of a gland nut.
	NutFlats Whole `json:"nut_flats,omitempty" jsonschema:"enum=4,enum=6,enum=8,enum=12,default=6"`
}

// Limits bound the good band of a gland.
type Limits struct {
	// Least weep that cools and lubricates, drops per minute; half the wanted weep where none is given.
	DryDPM float64 `json:"dry_dpm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Most weep allowed, drops per minute; twice the wanted weep where none is given.
	LeakDPM float64 `json:"leak_dpm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Weep that counts as a stream, drops per minute; 200 or twice leak_dpm where none is given.
	GushDPM float64 `json:"gush_dpm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Most rise over the reference, °C.
	RiseC float64 `json:"rise_c,omitempty" jsonschema:"exclusiveMinimum=0,maximum=500,default=25"`
	// False alarms a year of each condition on each gland.
	FalseAlarmsPerYear float64 `json:"false_alarms_per_year,omitempty" jsonschema:"minimum=0.001,maximum=1000,default=1"`
}

// Timing keeps conditions from chattering.
type Timing struct {
	// After a start, how long dry waits for the film to form.
	StartGrace Duration `json:"start_grace,omitempty" jsonschema_extras:"default=2m"`
	// A limit must be exceeded this long before its alarm.
	OnDelay Duration `json:"on_delay,omitempty" jsonschema_extras:"default=0s"`
	// A condition must be gone this long before its alarm clears.
	OffDelay Duration `json:"off_delay,omitempty" jsonschema_extras:"default=1m"`
	// How long a gland is run in after repacking.
	RunIn Duration `json:"run_in,omitempty" jsonschema_extras:"default=4h"`
	// The rise must fall this far below its limit to clear, percent of the limit.
	DeadbandPercent float64 `json:"deadband_percent,omitempty" jsonschema:"minimum=0,maximum=50,default=5"`
}

// Modbus is a connection.
type Modbus struct {
	// Id that points refer to.
	ID ID `json:"id"`
	// Address, tcp://HOST:502 or rtu:///dev/ttyUSB0.
	URL string `json:"url" jsonschema:"pattern=^(tcp://[^@/?#]+|rtu:///.*[^/])$,maxLength=300"`
	// How often all points are read.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=1s"`
	// How long one answer may take.
	Timeout Duration `json:"timeout,omitempty"`
	// Registers read along to save a request.
	MaxGap Whole `json:"max_gap,omitempty" jsonschema:"minimum=0,maximum=125,default=8"`
	// Bit/s of a serial line.
	Baud Whole `json:"baud,omitempty" jsonschema:"minimum=300,maximum=921600,default=19200"`
	// Parity of a serial line.
	Parity string `json:"parity,omitempty" jsonschema:"enum=even,enum=odd,enum=none,default=even"`
	// Stop bits of a serial line.
	StopBits Whole `json:"stop_bits,omitempty" jsonschema:"enum=1,enum=2"`
}

// MQTT is the broker to publish to.
type MQTT struct {
	// Address, tcp://HOST:PORT or ssl://HOST:PORT.
	Broker string `json:"broker" jsonschema:"pattern=^(tcp|ssl)://[^@/?#]+$,maxLength=300"`
	// First levels of every topic; weepd/STATION where none is given.
	Root string `json:"root,omitempty" jsonschema:"pattern=^[^+#$/]([^+#]*[^+#/])?$,maxLength=200"`
	// Client id; weepd-STATION where none is given.
	ClientID string `json:"client_id,omitempty" jsonschema:"minLength=1,maxLength=64"`
	// User name at the broker.
	Username string `json:"username,omitempty" jsonschema:"minLength=1,maxLength=256"`
	// File with the password alone.
	PasswordFile Path `json:"password_file,omitempty"`
	// Certificates of an ssl:// broker.
	TLS *TLS `json:"tls,omitempty"`
	// File with the key that commands must be signed with.
	CommandKeyFile Path `json:"command_key_file,omitempty"`
	// How far off a signed command's time may be.
	CommandWindow Duration `json:"command_window,omitempty" jsonschema_extras:"default=5m"`
	// How messages are encoded: JSON topics of our own, or Sparkplug B.
	Payload string `json:"payload,omitempty" jsonschema:"enum=json,enum=sparkplug,default=json"`
	// Sparkplug's group id.
	Group string `json:"group,omitempty" jsonschema:"pattern=^[^+#/]+$,maxLength=64,default=weepd"`
	// Sparkplug's primary host application, which events wait for.
	HostID string `json:"host_id,omitempty" jsonschema:"pattern=^[^+#/]+$,maxLength=64"`
}

// RemoteWrite is a receiver of Prometheus remote write, for a station that cannot be scraped.
type RemoteWrite struct {
	// Address, https://HOST[:PORT]/PATH.
	URL string `json:"url" jsonschema:"pattern=^https?://[^@#]+$,maxLength=500"`
	// Time between two samples, 5s to 5m.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=1m"`
	// Samples older than this are not sent: as the receiver's out-of-order window, 10m to 31 days.
	MaxAge Duration `json:"max_age,omitempty" jsonschema_extras:"default=24h"`
	// Most bytes that wait on the disk.
	MaxBytes Size `json:"max_bytes,omitempty" jsonschema_extras:"default=32MiB"`
	// User name at the receiver.
	Username string `json:"username,omitempty" jsonschema:"minLength=1,maxLength=256"`
	// File with the password alone.
	PasswordFile Path `json:"password_file,omitempty"`
	// Certificates of an https:// receiver.
	TLS *TLS `json:"tls,omitempty"`
}

// TLS has the files of an encrypted connection to a broker.
type TLS struct {
	// Certificates to trust instead of the system's.
	CA Path `json:"ca,omitempty"`
	// The agent's own certificate.
	Cert Path `json:"cert,omitempty"`
	// The key of the agent's certificate.
	Key Path `json:"key,omitempty"`
	// Name that the broker's certificate must carry.
	ServerName string `json:"server_name,omitempty" jsonschema:"minLength=1,maxLength=253"`
}

// Alarms says how alarms live.
type Alarms struct {
	// The longest that an alarm may be shelved for; 0 = not at all.
	LongestShelf Duration `json:"longest_shelf,omitempty" jsonschema_extras:"default=24h"`
	// Conditions whose alarms stay until a person resets them.
	Latched []Condition `json:"latched,omitempty" jsonschema:"uniqueItems=true"`
	// How long, after a start, the rules may take to find again what was active before it.
	Settle Duration `json:"settle,omitempty" jsonschema_extras:"default=10m"`
}

// Condition is what can be wrong with a gland or its sensors.
type Condition string

// Store is where the agent keeps what must survive it.
type Store struct {
	// A folder.
	Path Path `json:"path,omitempty"`
	// Most bytes of all files together, 4MiB to 1TiB.
	MaxBytes Size `json:"max_bytes,omitempty" jsonschema_extras:"default=256MiB"`
}

// HTTP is the page, metrics and API.
type HTTP struct {
	// Address to listen on, HOST:PORT.
	Listen string `json:"listen,omitempty" jsonschema:"pattern=:[0-9]{1\\,5}$,maxLength=300,default=127.0.0.1:9733"`
	// Certificate for encrypted HTTP.
	TLS *HTTPTLS `json:"tls,omitempty"`
	// File of users and tokens, made by weepd user add.
	Users Path `json:"users,omitempty"`
	// Others on the network may listen in, or read without logging in.
	Insecure bool `json:"insecure,omitempty" jsonschema:"default=false"`
	// Who may read without logging in.
	Read string `json:"read,omitempty" jsonschema:"enum=users,enum=machine,enum=anyone"`
}

// HTTPTLS has the files of encrypted HTTP.
type HTTPTLS struct {
	// File with the certificate (PEM).
	Cert Path `json:"cert"`
	// File with the certificate's key (PEM).
	Key Path `json:"key"`
}

// Log is what the agent writes to standard error.
type Log struct {
	// Least level that is written.
	Level string `json:"level,omitempty" jsonschema:"enum=debug,enum=info,enum=warn,enum=error,default=info"`
	// Format of a line.
	Format string `json:"format,omitempty" jsonschema:"enum=text,enum=json,default=text"`
}
